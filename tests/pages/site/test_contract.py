"""Every address of the page with whatever a fuzzer thinks of: never a server error."""

from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.core.result import Ok

from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from tests.pages.site.conftest import HOST
from tests.pages.site.test_job import begin

#: What opens an adapter by a name from outside, or takes seconds to make, is not for a fuzzer.
LEFT_OUT = {
    ("POST", "/practice"),
    ("POST", "/car/{key}/record/live"),
    ("POST", "/car/{key}/clear"),
    ("POST", "/car/{key}/clear/now"),
    ("POST", "/car/{key}/learning/{name}/live"),
}
NAME = "Fuzzed"
PROCEDURE = "pedal-released-position"


def routes_of(router: Any) -> list[APIRoute]:
    """Routes, also of routers that were taken in whole."""
    found: list[APIRoute] = []
    for one in router.routes:
        inside = getattr(one, "original_router", None)
        if isinstance(one, APIRoute):
            found.append(one)
        elif inside is not None:
            found += routes_of(inside)
    return found


def contract(app: FastAPI) -> dict[str, Any]:
    """All addresses, also those that only serve pages."""
    routes = routes_of(app)
    for one in routes:
        one.include_in_schema = True
    return get_openapi(title="Bellmouth", version="0", routes=routes)


@pytest.mark.filterwarnings("ignore:Use 'content=")  # how the fuzzer hands over raw bodies
def test_a_fuzzer_finds_no_server_error(garage: Garage) -> None:
    app = create_app(garage, Settings(frozenset({HOST}), most_bytes=2_000_000))
    described = contract(app)
    with TestClient(app, base_url=f"http://{HOST}") as client:
        client.headers["origin"] = f"http://{HOST}"
        begin(client, NAME)
        schema = schemathesis.openapi.from_dict(described)
        found = [one.ok() for one in schema.get_all_operations() if isinstance(one, Ok)]
        operations = [one for one in found if (one.method.upper(), one.path) not in LEFT_OUT]
        assert len(operations) + len(LEFT_OUT) == len(found) >= 40
        for operation in operations:
            _fuzz(client, operation)


def _fuzz(client: TestClient, operation: Any) -> None:
    """A few cases of one address: of no car, and of one that there is."""

    @settings(
        max_examples=6, deadline=None, database=None, derandomize=True,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(operation.as_strategy(), st.booleans())
    def asked(case: Any, known: bool) -> None:
        if known and "key" in (case.path_parameters or {}):
            case.path_parameters["key"] = key_of(NAME)
            if "name" in case.path_parameters:
                case.path_parameters["name"] = PROCEDURE
        arguments = case.as_transport_kwargs(base_url=f"http://{HOST}")
        arguments.pop("cookies", None)
        arguments["headers"] = {**arguments.get("headers", {}), "origin": f"http://{HOST}"}
        answer = client.request(**arguments, follow_redirects=False)
        assert answer.status_code < 500, (operation.path, arguments, answer.text)
        assert "Traceback" not in answer.text

    asked()


@pytest.mark.parametrize("method", ["DELETE", "PUT", "PATCH", "TRACE"])
def test_what_no_address_knows_is_answered(client: TestClient, method: str) -> None:
    assert client.request(method, "/cars").status_code == 405
