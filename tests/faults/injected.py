"""A fault at the n-th call of the file system, in a process of its own: an error, an interrupt, or death on the spot."""

import errno
import os
import signal
import sys
from contextlib import suppress

CALLS = (
    "open", "os.mkdir", "os.rename", "os.link", "os.remove", "os.rmdir", "os.scandir", "os.listdir", "os.chmod", "os.chown",
    "os.utime", "fcntl.flock", "shutil.rmtree", "ctypes.dlopen", "swap", "fsync", "write",
)  # fmt: skip
MOST_CALLS = 1000
WHOLE, REFUSED, INTERRUPTED, UNREACHED, KILLED = 0, 3, 130, 77, -signal.SIGKILL


def fail():
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def interrupt():
    raise KeyboardInterrupt


def die():
    os.kill(os.getpid(), signal.SIGKILL)


def with_fault(work, at, fault):
    """How a process of its own ends that does the work with a fault at that call: one of the codes above."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    code = 98
    try:
        code = _tried(work, at, fault)
    finally:
        os._exit(code)


def at_every_call(work, fault, step=1):
    """Pairs of a call and how the work ended with the fault there, as far as the work makes calls; it is given the number."""
    at, code = 0, WHOLE
    while code != UNREACHED:
        code = with_fault(lambda: work(at), at, fault)  # noqa: B023  called at once
        yield at, code
        at += step
        assert at < MOST_CALLS, "the work never comes through"


def _tried(work, at, fault):
    from filterlib.errors import OutputError
    from filterlib.show import folder

    left = [at]

    def count(event, _=None):
        if event in CALLS:
            left[0] -= 1
            if left[0] == -1:
                fault()

    os.fsync = lambda descriptor: count("fsync")  # what a power cut needs is slow, and nothing here looks at it
    with suppress(AttributeError):
        folder.swap, folder._write = _counted(folder.swap, "swap", count), _counted(folder._write, "write", count)
    sys.addaudithook(count)
    try:
        work()
    except OutputError:
        return REFUSED
    except KeyboardInterrupt:
        return INTERRUPTED
    return WHOLE if left[0] < 0 else UNREACHED


def _counted(real, event, count):
    def call(*arguments):
        count(event)
        return real(*arguments)

    return call
