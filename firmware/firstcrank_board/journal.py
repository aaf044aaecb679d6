"""What must outlive a restart: whether the board was waiting when it lost its power, how often, and why as far as the chip tells.

Flash is written before a wait begins and after it has ended, never in between: an erase would cost readings.
"""

if 0:  # for mypy alone: compiled to nothing
    from board_types import Store, Table

MOST_CAUSES = 8


class Journal:
    """`store` as in Parts. `cause`: why the chip started, in words. `waiting` is what it was doing when it went down, or None."""

    def __init__(self, store: "Store", cause: str) -> None:
        self._store = store
        self._table = store.load("journal") or {}
        self.cause = cause
        self.waiting = self._table.get("waiting")
        if self.waiting:
            self._count("restarts")
            causes = self._table.get("causes") or {}
            if cause in causes or len(causes) < MOST_CAUSES:
                causes[cause] = causes.get(cause, 0) + 1
            self._table["causes"] = causes

    def begins(self, what: str) -> None:
        """Written before a wait."""
        self._count("waits")
        self._table["waiting"] = what
        self._save()

    def ends(self) -> None:
        """Written when the wait is over as it should be."""
        if self._table.get("waiting"):
            self._table["waiting"] = None
            self._save()

    def missed(self) -> None:
        """A start was under way when the board came up: counted, written with what comes next."""
        self._count("missed")

    def report(self, table: "Table") -> "Table":
        """What a host receives: counts of waits, of restarts in them by cause, of starts missed; the last error of the program."""
        for key in ("waits", "restarts", "causes", "missed"):
            if self._table.get(key):
                table[key] = self._table[key]
        error = self._store.load("error")
        if error:
            table["error"] = error.get("error")
        return table

    def forget(self) -> None:
        """The host has it."""
        self._table = {"waiting": self._table.get("waiting")}
        self._save()
        if self._store.load("error"):
            self._store.save("error", None)

    def _count(self, key: str) -> None:
        self._table[key] = self._table.get(key, 0) + 1

    def _save(self) -> None:
        try:
            self._store.save("journal", self._table)
        except OSError:
            pass  # a full flash must not keep the board from working
