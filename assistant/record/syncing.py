"""Waits until what was written is on the disk, and not only in a cache of the disk's own.

On Linux ``fsync`` and ``fdatasync`` do that. On macOS ``fsync`` leaves the data in the drive's cache, and fcntl's
``F_FULLFSYNC`` empties that too (Apple's manual page fsync(2)). Some file systems there, such as a network share,
answer ``F_FULLFSYNC`` with ``ENOTSUP``, and ``fsync`` is then the best that can be had (Go's library does the same;
from memory). After any other error nothing is tried again, because a second call can wrongly succeed.
"""

from __future__ import annotations

import errno
import fcntl
import os
import sys


def sync(descriptor: int) -> None:
    """Wait for the data of a file or folder, and for all that the system knows about it.

    Raises:
        OSError: The system could not write it.
    """
    if sys.platform == "darwin":
        try:
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
        except OSError as error:
            if error.errno != errno.ENOTSUP:
                raise
        else:
            return
    os.fsync(descriptor)


def sync_data(descriptor: int) -> None:
    """Wait for the data of a file and its size; quicker than `sync` where the system can tell them apart.

    Raises:
        OSError: The system could not write it.
    """
    if sys.platform == "darwin":
        sync(descriptor)
    else:
        os.fdatasync(descriptor)
