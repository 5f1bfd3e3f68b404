"""Everything that the commands can do is on the page, or here stands why it is not.

A command or an option that is new fails this test until somebody says where the page has it.
"""

import re
from importlib.resources import files

import click
import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from bellmouth.book.book import Book
from bellmouth.cli.group import main
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from tests.pages.site.test_contract import routes_of
from tests.pages.site.test_job import begin

#: Of every command: what a shell has and a page does not.
SHELL = {"help", "version", "overwrite", "json", "html", "pdf", "report", "out"}
#: How an adapter is named, in every command that talks to a car; the page asks for all three
#: wherever it talks to one.
ADAPTER = {"interface", "channel", "bitrate"}
TALKS = ("record/live", "codes", "clear", "learning/{name}/coach")
#: Commands that are a shell's own, and why.
OWN = {
    "serve": "it is the page",
    "completion": "completes what is typed in a shell",
    "demo": "the practice car is the page's demonstration",
    "practice": "a car on a wire for another shell; the page's practice car is POST /practice",
}
#: Option by option: method, address and field where the page has it; or why it needs none.
CAR, LEARNING = "/car/{key}", "/car/{key}/learning/{name}"
SPEAKING = ("find", "record", "codes", "monitors", "clear", "check", "prove", "causes", "checks")
IN_LANGUAGE = (
    "convert", "procedures", "procedures check", "procedures plan", "procedures show", "survey",
    "family", "family learn", "family show", "book",
    *(f"book {one}" for one in (
        "car", "open", "add", "show", "due", "forecast", "comebacks", "readings", "recompute",
        "export", "import", "backup", "check", "delete",
    )),
)  # fmt: skip
WHERE: dict[str, tuple[str, str, str] | str] = {
    **{
        f"{one} {name}": ("POST", "/settings", name)
        for one in SPEAKING
        for name in ("language", "units")
    },
    **{f"{one} language": ("POST", "/settings", "language") for one in IN_LANGUAGE},
    "find": f"GET {CAR}/finding",
    "find recording": ("POST", f"{CAR}/record/file", "file"),
    "find car_file": ("POST", f"{CAR}/facts/file", "file"),
    "find complaint": ("POST", f"{CAR}/facts/job", "complaint"),
    "find also": ("POST", f"{CAR}/finding/also", "recording"),
    "find references": ("POST", f"{CAR}/finding/compare", "reference"),
    "find results": ("POST", f"{CAR}/finding/result", "said"),
    "find prior": ("POST", f"{CAR}/finding/prior", "file"),
    "find family": ("POST", f"{CAR}/finding/family", "number"),
    "find mapping": ("POST", f"{CAR}/record/file", "mapping"),
    "find loads_off": ("POST", f"{CAR}/record/file", "loads_off"),
    "find live": ("POST", f"{CAR}/record/live", "interface"),
    "record": f"POST {CAR}/record/live",
    "record car_file": ("POST", f"{CAR}/facts/file", "file"),
    "record seconds": ("POST", f"{CAR}/record/live", "seconds"),
    "record controller": ("POST", f"{CAR}/record/live", "controller"),
    "record complaint": ("POST", f"{CAR}/facts/job", "complaint"),
    "record show_vin": ("POST", f"{CAR}/codes", "show_number"),
    "codes": f"POST {CAR}/codes",
    "codes show_vin": ("POST", f"{CAR}/codes", "show_number"),
    "monitors": f"POST {CAR}/codes",
    "monitors rules_file": ("POST", "/rules", "file"),
    "monitors recording": f"GET {CAR}/recording/{{number}}",
    "clear": f"POST {CAR}/clear",
    "clear given_up": ("POST", f"{CAR}/clear/now", "word"),
    "check": "POST /files/check",
    "check recording": ("POST", "/files/check", "file"),
    "check mapping": ("POST", "/files/check", "mapping"),
    "convert": "POST /files/convert, its field to",
    "convert recording": ("POST", "/files/convert", "file"),
    "convert mapping": ("POST", "/files/convert", "mapping"),
    "convert controller": ("POST", "/files/convert", "controller"),
    "causes": "GET /known",
    "checks": "GET /known",
    "card": f"GET {CAR}/work",
    "card car_file": ("POST", f"{CAR}/facts/file", "file"),
    "card finding_file": "the finding is the car's own, in its book",
    "card recording": "the finding is the car's own, in its book",
    "card works": ("GET", f"{CAR}/work", "work"),
    "card learning": ("GET", f"{CAR}/work", "learning"),
    "card torque": ("GET", f"{CAR}/work", "torque"),
    "card manual_section": ("GET", f"{CAR}/work", "section"),
    "card bolts": ("GET", f"{CAR}/work", "bolts"),
    "card language": ("POST", "/settings", "language"),
    "card units": ("POST", "/settings", "units"),
    "card paper": f"GET {CAR}/card.pdf",
    "prove": f"GET {CAR}/proof",
    "prove before": ("POST", f"{CAR}/proof/choose", "before"),
    "prove after": ("POST", f"{CAR}/proof/choose", "after"),
    "prove car_file": ("POST", f"{CAR}/facts/file", "file"),
    "prove complaint": ("POST", f"{CAR}/facts/job", "complaint"),
    "prove done": ("POST", f"{CAR}/proof/choose", "done"),
    "prove results": ("POST", f"{CAR}/proof/choose", "looked"),
    "prove references": ("POST", f"{CAR}/proof/choose", "reference"),
    "prove prior": ("POST", f"{CAR}/proof/choose", "file"),
    "prove family": ("POST", f"{CAR}/finding/family", "number"),
    "prove mapping": ("POST", f"{CAR}/record/file", "mapping"),
    "prove loads_off": ("POST", f"{CAR}/record/file", "loads_off"),
    "judge": f"POST {LEARNING}/judge",
    "judge recording": ("POST", f"{LEARNING}/judge", "file"),
    "judge procedure": f"GET {LEARNING}",
    "judge marks": ("POST", f"{LEARNING}/judge", "marks"),
    "judge mapping": ("POST", f"{LEARNING}/judge", "mapping"),
    "judge manual_checked": "the procedure's page says so above the steps, once",
    "judge language": ("POST", "/settings", "language"),
    "coach": f"GET {LEARNING}/coach",
    "coach procedure": f"GET {CAR}/learning",
    "coach manual_checked": ("POST", f"{LEARNING}/coach", "manual"),
    "coach practise": "POST /practice",
    "coach live": ("POST", f"{LEARNING}/coach", "how"),
    "coach lead": ("GET", f"{LEARNING}/coach", "lead"),
    "coach person": ("GET", f"{LEARNING}/coach", "person"),
    "coach keep": "attempts are in the car's book, timings beside the terminal's",
    "coach language": ("POST", "/settings", "language"),
    "coach quiet": ("GET", f"{LEARNING}/coach", "quiet"),
    "coach two_person": ("GET", f"{LEARNING}/coach", "two"),
    "coach card": "GET /known/procedure/{name}/{paper}.html",
    "coach forecast": ("GET", f"{LEARNING}/chances", "person"),
    "coach sound_check": f"GET {LEARNING}/coach",
    "coach audio_offset": ("GET", f"{LEARNING}/coach", "offset"),
    "procedures": "GET /known",
    "procedures show": "GET /known/procedure/{name}",
    "procedures show name": "GET /known",
    "procedures check": "POST /known/procedure",
    "procedures check file": ("POST", "/known/procedure", "file"),
    "procedures plan": "GET /procedures",
    "procedures plan work": ("GET", "/procedures", "work"),
    "procedures plan done": ("GET", "/procedures", "done"),
    "procedures plan skipped": ("GET", "/procedures", "because-{{ name }}"),
    "survey": "POST /survey/files",
    "survey recordings": ("POST", "/survey/files", "files"),
    "survey cars": ("POST", "/survey/files", "cars"),
    "survey scheduler": "ten thousand cars are for a shell; the page surveys 500 files",
    "survey workers": "ten thousand cars are for a shell; the page surveys 500 files",
    "survey families": ("POST", "/survey/{number}/family", "name"),
    "family": "GET /families",
    "family learn": "POST /families/learn",
    "family learn recordings": ("POST", "/families/learn", "files"),
    "family learn cars": ("POST", "/families/learn", "cars"),
    "family learn name": ("POST", "/families/learn", "name"),
    "family learn book": ("POST", "/families/learn", "growth"),
    "family show": "GET /families/{number}",
    "family show family": ("POST", "/families/file", "file"),
    "book": f"GET {CAR}/book",
    "book where": "bellmouth serve --book",
    "book car": "POST /cars",
    "book car name": ("POST", "/cars", "name"),
    "book car car_file": ("POST", f"{CAR}/facts/file", "file"),
    "book car kind": ("POST", f"{CAR}/facts/name", "kind"),
    "book car identification": ("POST", f"{CAR}/facts/name", "identification"),
    "book car keep_until": ("POST", f"{CAR}/facts/name", "keep_until"),
    "book car rename": ("POST", f"{CAR}/facts/name", "name"),
    "book open": f"POST {CAR}/job",
    "book open name": f"POST {CAR}/job",
    "book open distance": ("POST", f"{CAR}/job", "distance"),
    "book open complaint": ("POST", f"{CAR}/job", "complaint"),
    "book open on": ("POST", f"{CAR}/facts/job", "on"),
    "book open comeback_of": ("POST", f"{CAR}/entry/{{number}}", "comeback_of"),
    "book open corrects": ("POST", f"{CAR}/entry/{{number}}", "distance"),
    "book add": f"POST {CAR}/note",
    "book add name": f"POST {CAR}/note",
    "book add kind": f"POST {CAR}/record/file, note, photo, done, card, attempt, finding, proof",
    "book add what": ("POST", f"{CAR}/photo", "file"),
    "book add job": ("POST", f"{CAR}/note", "job"),
    "book add corrects": f"POST {CAR}/entry/{{number}}",
    "book add of": ("POST", f"{CAR}/finding/of", "recording"),
    "book add also": ("POST", f"{CAR}/finding/also", "recording"),
    "book add references": ("POST", f"{CAR}/finding/compare", "reference"),
    "book add results": ("POST", f"{CAR}/finding/result", "said"),
    "book add complaint": ("POST", f"{CAR}/facts/job", "complaint"),
    "book add text": ("POST", f"{CAR}/photo", "text"),
    "book add by": ("POST", f"{CAR}/done", "by"),
    "book add gasket": ("POST", f"{CAR}/done", "gasket"),
    "book add mapping": ("POST", f"{CAR}/record/file", "mapping"),
    "book add loads_off": ("POST", f"{CAR}/record/file", "loads_off"),
    "book show": f"GET {CAR}/book",
    "book show name": f"GET {CAR}/book",
    "book show with_identification": "the archive takes it along; the screen shows it masked",
    "book show limit": "the first page has them all, the earlier ones folded",
    "book due": "GET /counts",
    "book due limit": "the page lists fifty",
    "book due before": ("GET", "/counts", "before"),
    "book forecast": f"GET {CAR}/book",
    "book forecast name": f"GET {CAR}/book",
    "book forecast level": ("GET", f"{CAR}/book", "level"),
    "book forecast family": ("GET", f"{CAR}/book", "family"),
    "book forecast picture": f"GET {CAR}/forecast.svg",
    "book comebacks": "GET /counts",
    "book comebacks within_days": ("GET", "/counts", "within"),
    "book readings": "GET /counts",
    "book recompute": f"GET {CAR}/again",
    "book recompute name": f"GET {CAR}/again",
    "book recompute number": f"GET {CAR}/again",
    "book export": f"GET {CAR}/archive.zip",
    "book export name": f"GET {CAR}/archive.zip",
    "book export with_identification": f"GET {CAR}/archive.zip",
    "book import": "POST /care/import",
    "book import archive": ("POST", "/care/import", "file"),
    "book backup": "GET /care/backup.zip",
    "book backup folder": "GET /care/backup.zip",
    "book check": "GET /care",
    "book check sweep": "POST /care/sweep",
    "book delete": f"POST {CAR}/delete",
    "book delete name": ("POST", f"{CAR}/delete", "name"),
    "book delete expired": "GET /care",
    "book delete yes": ("POST", f"{CAR}/delete", "name"),
}


def capabilities() -> list[str]:
    """Every command and every option that is not a shell's own, by its parameter's name."""
    return list(_of(main, ""))


def _of(command: click.Command, name: str) -> list[str]:
    found = [name] if name else []
    context = click.Context(command)
    found += [
        f"{name} {one.name}"
        for one in command.get_params(context)
        if name
        and one.name
        and not one.name.startswith("_")
        and one.name not in SHELL | ADAPTER | {"as_json"}
    ]
    if isinstance(command, click.Group):
        for word in command.list_commands(context):
            inner = command.get_command(context, word)
            assert inner is not None
            if f"{name} {word}".strip() not in OWN:
                found += _of(inner, f"{name} {word}".strip())
    return found


@pytest.fixture(scope="module")
def addresses(tmp_path_factory: pytest.TempPathFactory) -> set[tuple[str, str]]:
    garage = Garage(Book(tmp_path_factory.mktemp("book")), tmp_path_factory.mktemp("files"))
    routes: list[APIRoute] = routes_of(create_app(garage, Settings(frozenset())))
    garage.book.close()
    return {(method, one.path) for one in routes for method in one.methods or ()}


def test_every_command_and_option_has_its_place_on_the_page() -> None:
    there = capabilities()
    assert [one for one in there if one not in WHERE] == []
    assert [one for one in WHERE if one not in there] == []


def test_every_place_is_there(addresses: set[tuple[str, str]]) -> None:
    fields = _fields()
    for what, place in WHERE.items():
        told = place if isinstance(place, str) else " ".join(place[:2])
        if told.startswith(("GET ", "POST ")):
            method, path = told.split(",")[0].split(" ", 1)
            assert (method, path) in addresses, what
        if not isinstance(place, str):
            assert place[2] in fields, what


@pytest.mark.parametrize("place", TALKS)
def test_wherever_the_page_talks_to_a_car_it_takes_all_of_its_adapter(
    client: TestClient, place: str
) -> None:
    path = place.replace("{name}", "idle-air-learning-by-pedal")
    said = {"manual": "checked", "how": "car", "interface": "slcan", "bitrate": "fast"}
    answer = client.post(f"{begin(client, 'Reached')}/{path}", data=said)
    assert (answer.status_code, "Bit rate" in answer.text) == (400, True)


def _fields() -> set[str]:
    """Names of every field of every form."""
    folder = files("bellmouth.pages") / "templates" / "site"
    text = "".join(one.read_text("utf-8") for one in folder.iterdir() if one.is_file())
    return set(re.findall(r'name="([^"]+)"', text)) | set(re.findall(r'pick\("(\w+)"', text))
