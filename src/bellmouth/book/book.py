"""The whole book in one class: what can be asked of it, each answered by a module of its own."""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bellmouth.book import archive, archive_reading, care, lists, photos
from bellmouth.book.entries import Entry
from bellmouth.book.store import History, Store

if TYPE_CHECKING:
    from bellmouth.book.comebacks import Comebacks
    from bellmouth.book.forecast import Forecast
    from bellmouth.book.judging import Judged, Recomputed
    from bellmouth.book.readers import Quantity
    from bellmouth.finding.proof_result import Proof
    from bellmouth.finding.result import Finding
    from bellmouth.recording.series import Recording

__all__ = ["Book"]

# Entries that may change when a car is due.
_MATTERS = ("recording", "finding", "work")


class Book(Store):
    """A book of cars: `Store`, and everything that is made of what it holds.

    Whatever loads the finding's libraries does so when it is first called.
    """

    def add(self, name: str, kind: str, document: Mapping[str, Any], **options: Any) -> Entry:
        """Add an entry, and work out anew when the car is due where it may matter."""
        entry = super().add(name, kind, document, **options)
        if kind in _MATTERS:
            self.refresh_due(name)
        return entry

    def open_job(self, name: str, **options: Any) -> Entry:
        """Open a job, or correct one; its day and odometer may change when the car is due."""
        entry = super().open_job(name, **options)
        if entry.distance_km is not None or entry.corrects is not None:
            self.refresh_due(name)
        return entry

    def change_car(self, name: str, **changes: Any) -> Entry:
        """Say anew what is known of a car; its displacement and kind bear on when it is due."""
        entry = super().change_car(name, **changes)
        self.refresh_due(entry.document["name"])
        return entry

    def add_recording(
        self,
        name: str,
        recording: "Recording | str | Path",
        *,
        mapping: str | Path | Mapping[str, str] | None = None,
        by: str | None = None,
        job: int | None = None,
        corrects: int | None = None,
    ) -> Entry:
        """Keep a recording, or a file of one; see `recordings.add_recording`."""
        from bellmouth.book.recordings import add_recording  # noqa: PLC0415
        from bellmouth.recording import read_recording  # noqa: PLC0415

        if isinstance(recording, str | Path):
            recording = read_recording(recording, mapping=mapping)
        return add_recording(self, name, recording, by=by, job=job, corrects=corrects)

    def recording(self, name: str, number: int) -> "Recording":
        """The recording of an entry, sample for sample."""
        from bellmouth.book.entries import numbered  # noqa: PLC0415
        from bellmouth.book.recordings import recording_of  # noqa: PLC0415

        return recording_of(self, numbered(self.history(name).entries, number, "recording"))

    def add_photo(self, name: str, path: str | Path, **options: Any) -> Entry:
        """Keep a photo without its location; see `photos.add_photo`."""
        return photos.add_photo(self, name, path, **options)

    def judge(self, name: str, recording: int | None = None, **options: Any) -> "Judged[Finding]":
        """Ask what a recording shows; see `judging.judge`."""
        from bellmouth.book import judging  # noqa: PLC0415

        return judging.judge(self, name, recording, **options)

    def judge_work(
        self, name: str, before: int | None = None, after: int | None = None, **options: Any
    ) -> "Judged[Proof]":
        """Ask whether work helped; see `judging.judge_work`."""
        from bellmouth.book import judging  # noqa: PLC0415

        return judging.judge_work(self, name, before, after, **options)

    def keep(
        self,
        name: str,
        judged: "Judged[Finding] | Judged[Proof]",
        document: Mapping[str, Any],
        **options: Any,
    ) -> Entry:
        """Add a finding or proof as it was judged; see `judging.keep`."""
        from bellmouth.book import judging  # noqa: PLC0415

        return judging.keep(self, name, judged, document, **options)

    def recompute(self, name: str, number: int | None = None) -> "tuple[Recomputed, ...]":
        """Make findings and proofs again and compare; see `judging.recompute`."""
        from bellmouth.book import judging  # noqa: PLC0415

        return judging.recompute(self, name, number)

    def forecast(self, name: str, **options: Any) -> "Forecast | None":
        """When to inspect next, None where no finding with an odometer is there yet; see
        `histories.forecast_of`."""
        from bellmouth.book.histories import forecast_of  # noqa: PLC0415

        return forecast_of(self, name, **options)

    def refresh_due(self, name: str) -> None:
        """Work out when a car is due, for the list and the car's page."""
        from bellmouth.book.forecast_document import forecast_document  # noqa: PLC0415

        found = self.forecast(name)
        if found is None:
            lists.set_due(self, name, None, None, None)
            return
        on = found.inspect_on
        lists.set_due(
            self, name, None if on is None else on.value.isoformat(), found.inspect_at_km.value,
            forecast_document(found, curve=False),
        )  # fmt: skip

    def comebacks(self, **options: Any) -> "Comebacks":
        """Which jobs came back, whole and by group; see `comebacks.comebacks`."""
        from bellmouth.book.comebacks import comebacks  # noqa: PLC0415

        return comebacks(self, **options)

    def spreads(self) -> "tuple[Quantity, ...]":
        """How far readings of one thing lie apart, by one person and by two; see `readers`."""
        from bellmouth.book.readers import spreads  # noqa: PLC0415

        return spreads(self)

    def cars(self, **options: Any) -> tuple[lists.Standing, ...]:
        """Cars, the last touched first; see `lists.cars`."""
        return lists.cars(self, **options)

    def standing(self, name: str) -> lists.Standing:
        """Where one car stands."""
        return lists.standing_of(self, name)

    def due(
        self, *, limit: int = 50, before: date | str | None = None
    ) -> tuple[lists.Standing, ...]:
        """Cars to inspect, the soonest first; see `lists.due`."""
        return lists.due(self, limit=limit, before=before)

    def export(self, name: str, path: str | Path, **options: Any) -> Sequence[str]:
        """Write a car's archive; see `archive.export_car`."""
        return archive.export_car(self, name, path, **options)

    def import_(self, path: str | Path) -> History:
        """Add the car of an archive; see `archive_reading.import_car`."""
        history = archive_reading.import_car(self, path)
        self.refresh_due(history.name)
        return history

    def back_up(self, folder: str | Path) -> Path:
        """Copy the book while it is in use; see `care.back_up`."""
        return care.back_up(self, folder)

    def check(self, *, sweep: bool = False) -> care.Health:
        """Whether everything is whole; see `care.check`."""
        return care.check(self, sweep=sweep)

    def would_delete(self, name: str) -> care.Deleted:
        """What `delete` would take away."""
        return care.would_delete(self, name)

    def delete(self, name: str) -> care.Deleted:
        """Delete a car for good; see `care.delete`."""
        return care.delete(self, name)

    def expired(self) -> tuple[str, ...]:
        """Cars whose keep-until day is past."""
        return care.expired(self)
