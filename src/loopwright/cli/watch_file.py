"""Wait until what is in a file changes."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path

_PAUSE = 0.2  # seconds between two looks
_QUIET = 0.1  # seconds for which a changed file must stay the same: whoever writes it may not be done
_COARSE = 2.0  # seconds within which some file systems give two changes the same time

_TRIES = 10  # looks at a file that cannot be read, before it counts as one that is not there

State = tuple[int, int, bytes] | None


class FileWatch:
    """Looks at one file again and again; one that is not there is one more content that it may have.

    Time and size tell that there may be a change, the contents whether there is one. So a file that was only
    saved again is no change, and two quick changes are two.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._seen: State = None
        self._is_first = True

    def wait(self) -> None:
        """Return when the contents differ from those at the last return; at once the first time."""
        while True:
            while not self._is_first and not self._has_changed():
                time.sleep(_PAUSE)
            before, self._seen = self._seen, self._settled()
            if self._is_first or _content(before) != _content(self._seen):
                self._is_first = False
                return

    def _has_changed(self) -> bool:
        stamp, seen = self._stamp(), self._seen
        if stamp is None or seen is None:
            return stamp is not None or seen is not None
        if stamp == seen[:2] and abs(time.time() - stamp[0] / 1e9) > _COARSE:
            return False
        now = self._look()
        if now is not None and now[2] == seen[2]:
            self._seen = now
            return False
        return True

    def _settled(self) -> State:
        """Return what the file holds once it holds still."""
        now = self._look()
        while True:
            time.sleep(_QUIET)
            before, now = now, self._look()
            if now == before:
                return now

    def _stamp(self) -> tuple[int, int] | None:
        try:
            found = self.path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size

    def _look(self) -> State:
        for _ in range(_TRIES):
            try:
                found, content = self.path.stat(), self.path.read_bytes()
            except (FileNotFoundError, NotADirectoryError):
                return None
            except OSError:  # another program may hold it for a moment
                time.sleep(_PAUSE)
                continue
            return found.st_mtime_ns, found.st_size, hashlib.blake2b(content, digest_size=20).digest()
        return None


def _content(state: State) -> bytes | None:
    return None if state is None else state[2]
