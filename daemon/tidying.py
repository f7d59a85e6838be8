"""When this process looks for garbage: at times at which its standing still harms nobody.

A full collection walks over all that there is, 20 to 60 ms in which no thread runs, and would come about once a
second where many soaks begin and end (measured); what it finds is next to nothing. The two young generations are
collected as ever, and that is where what the API leaves behind ends.
"""

import asyncio
import gc

from daemon.loop import Rack

#: more than a second's work makes; each look at the youngest is then seldom, and short still (1 ms)
YOUNG = 2000
MIDDLE = 20
NEVER = 1_000_000
#: with no key lent a pause is harmless; with keys lent all day, one such pause an hour must be
IDLE_S = 60.0
AT_LATEST_S = 3600.0


async def keep_tidy(rack: Rack) -> None:
    """Until cancelled, which ends the special care."""
    loop = asyncio.get_running_loop()
    young = gc.get_threshold()
    # what was made before this stays to the end: it need never be looked at again
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG, MIDDLE, NEVER)
    last_s = loop.time()
    try:
        while True:
            await asyncio.sleep(1.0)
            idle = not any(bay.lent for bay in rack.bays.values())
            if loop.time() - last_s > (IDLE_S if idle else AT_LATEST_S):
                gc.collect()
                last_s = loop.time()
    finally:
        gc.set_threshold(*young)
        gc.unfreeze()
