"""Crash-safe writing of a capture: whatever stops the machine, what was read is on disk.

A CSV file is its own journal: a row a poll, written at once. Its header and rows end in a
separator until the capture ends in order, so that a row cut anywhere shows. A Parquet file cannot
grow, so the rows go to ``NAME.journal`` beside it, and the file itself is a snapshot, written
anew beside and put in its place about twice a second for as long as that stays cheap.
``read_recording`` knows both.
"""



__all__ = ["Journal", "refuse_existing"]
