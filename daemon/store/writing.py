"""The process that writes the store: ``python -m daemon.store.writing FOLDER``, parcels in, a word on each out.

It ends when its standard input does, after it has tried to keep all that came before: what a killed daemon had handed
over is not lost with it.
"""

import select
import signal
import sys
from contextlib import suppress
from pathlib import Path

from daemon.store.batch import FAILURES, Batch
from daemon.store.catalog import CatalogWriter
from daemon.store.frames import FrameWriter
from daemon.store.parcels import Said, decode_begin, encode_said, items_of, read_parcel, send_parcel
from daemon.store.reader import CATALOG, FRAMES

#: with nothing to write for so long there is time for what earlier runs left undone
IDLE_S = 1.0


def main(folder: Path) -> None:
    """Until the daemon has ended."""
    # signals that a terminal or a service manager sends to all are for the daemon, which closes the pipe
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    heard, told = sys.stdin.buffer, sys.stdout.buffer
    begin = decode_begin(read_parcel(heard))
    frames = FrameWriter(folder / FRAMES, alone=not begin.again)
    batch = Batch(frames, CatalogWriter(folder / CATALOG), begin.running, again=begin.again)
    try:
        while True:
            while not select.select([heard], [], [], IDLE_S)[0]:
                with suppress(*FAILURES):  # tried again; should the disk be ill, the next commit tells
                    batch.fill()
            if data := read_parcel(heard):
                batch.take(items_of(data))
            said = Said()
            try:
                batch.commit()
            except FAILURES as err:
                said.trouble = str(getattr(err, "orig", None) or err)
            said.unfit, said.unfit_why = batch.unfit, batch.unfit_why
            send_parcel(told, encode_said(said))
    except (EOFError, BrokenPipeError):
        with suppress(*FAILURES):
            batch.commit()
        batch.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
