"""The certificate of a soak of 24 hours at 10 Hz: what it takes, of the clock and of a processor.

    .venv/bin/python -m tests.bench.certificate

Takes about two minutes; everything is in a temporary folder, and every figure is of this run on this machine. The
first one also loads what draws and sets.
"""

import tempfile
import time
from pathlib import Path

from daemon.config import WorkshopTable
from daemon.store import Store
from tests.bench.curves import built, say


def main() -> None:
    """Make it a few times."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        job = built(folder)
        with Store(folder) as store:
            while not store.seals.of(job, job):
                time.sleep(0.2)
        for word in ("first", "again", "again"):
            for ending in ("pdf", "html"):
                began_s, used_s = time.perf_counter(), time.process_time()
                if word == "first" and ending == "pdf":
                    from daemon.certificate.make import Certificates

                    certificates = Certificates(folder, WorkshopTable(name="the workshop"))
                made = getattr(certificates, ending)(job)
                took_s, cpu_s = time.perf_counter() - began_s, time.process_time() - used_s
                say(f"{word} {ending}: {took_s:.2f} s, of a processor {cpu_s:.2f} s, {len(made) / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
