"""When this process looks for garbage: a little at a time, and at all of it when its standing still harms nobody.

Left to itself the interpreter looks when enough was made, and then at all of that: where soaks begin one after the
other 5 to 28 ms in which no thread runs, the whole tail of an unkey's time (measured, 64 bays); a full look takes 20
to 60 ms. Here it looks at what is new 20 times a second, and four times a second at what is left of that: as much work
in the end, in pieces of a millisecond. What lives longer than that is looked at when no key is lent.
"""

import asyncio
import gc

from daemon.loop import TICK_S, Rack

NEWEST, RECENT = 0, 1  # generations, as the gc module counts them
RECENT_S = 0.25
#: with no key lent a pause is harmless; with keys lent all day, one such pause an hour must be
IDLE_S = 60.0
AT_LATEST_S = 3600.0


async def keep_tidy(rack: Rack) -> None:
    """Until cancelled, which ends the special care."""
    loop = asyncio.get_running_loop()
    # what was made before this stays to the end: it need never be looked at again
    gc.collect()
    gc.freeze()
    gc.disable()
    recent_s = whole_s = loop.time()
    try:
        while True:
            await asyncio.sleep(TICK_S)
            now_s = loop.time()
            idle = not any(bay.lent for bay in rack.bays.values())
            if now_s - whole_s > (IDLE_S if idle else AT_LATEST_S):
                gc.collect()
                recent_s = whole_s = now_s
            elif now_s - recent_s > RECENT_S:
                gc.collect(RECENT)
                recent_s = now_s
            else:
                gc.collect(NEWEST)
    finally:
        gc.enable()
        gc.unfreeze()
