"""firstcrank jobs: the record on the command line, one table of commands."""

from __future__ import annotations

from firstcrank.cli.lazy_group import LazyGroup

CLI = "firstcrank.cli"
jobs = LazyGroup(
    "jobs",
    help="Every start kept with its job, found again, handed over. Nothing is deleted but for privacy (forget).",
    table={
        "new": (f"{CLI}.jobs_add:new", "Make a job."),
        "attach": (f"{CLI}.jobs_attach:attach", "Attach recordings (judged and filed) or photos to a job."),
        "note": (f"{CLI}.jobs_add:note", "Add a note to a job."),
        "measured": (f"{CLI}.jobs_add:measured", "Add a hand measurement."),
        "list": (f"{CLI}.jobs_find:list_jobs", "List jobs, the newest first; with TEXT, those that have it anywhere."),
        "find": (f"{CLI}.jobs_find:list_jobs", "The same."),
        "show": (f"{CLI}.jobs_find:show", "Show everything of a job; says if a recording is missing or altered."),
        "history": (f"{CLI}.jobs_find:history", "Who changed what in a job, and when."),
        "change": (f"{CLI}.jobs_correct:change", "Correct a job's number or fields."),
        "correct-note": (f"{CLI}.jobs_correct:correct", "Correct a note."),
        "mark": (f"{CLI}.jobs_correct:mark", "Mark a start: before or after the repair, not valid, withdrawn."),
        "customer": (f"{CLI}.jobs_correct:customer", "Choose the notes and photos of the customer's page."),
        "move": (f"{CLI}.jobs_correct:move", "Move a start to another job."),
        "archive": (f"{CLI}.jobs_correct:archive", "Put a job out of sight; it stays in the store."),
        "backup": (f"{CLI}.jobs_keep:backup", "Make one file of the whole store, and check it."),
        "restore": (f"{CLI}.jobs_keep:restore", "Fill an empty store from a backup."),
        "access": (f"{CLI}.jobs_access:access", "Who may read a store's files: you alone, or a group."),
        "outbox": (f"{CLI}.jobs_outbox:outbox", "What waits on this computer until its store is back."),
        "send": (f"{CLI}.jobs_outbox:send", "File what waits on this computer."),
        "check": (f"{CLI}.jobs_damage:check", "Is the record whole: every row and every recording."),
        "salvage": (f"{CLI}.jobs_damage:salvage", "What can still be read of a damaged store, into a new one."),
        "export": (f"{CLI}.jobs_keep:export_all", "Hand over a job, or those of a search; or the whole store as Parquet."),
        "merge": (f"{CLI}.jobs_merge:merge", "Bring another store into this one, each row once."),
        "forget": (f"{CLI}.jobs_forget:forget", "Delete jobs for privacy, for good."),
        "rejudge": (f"{CLI}.jobs_rejudge:rejudge", "Judge filed starts again; say which verdicts would change."),
        "trends": (f"{CLI}.jobs_trends:trends", "Across all jobs: calibration, feed drop, crank speed, causes."),
    },
)
