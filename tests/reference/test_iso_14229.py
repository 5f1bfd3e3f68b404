"""ISO 14229-1 annex A: negative response codes, from memory (M)."""

import pytest

from bellmouth.j1979 import messages
from tests.reference.reading import rows


@pytest.mark.parametrize("row", rows("negative_responses"), ids=lambda row: row["code"])
def test_meanings(row: dict[str, str]) -> None:
    reply = messages.decode_response(bytes.fromhex(f"7F01{row['code']}"))
    assert reply == messages.Negative(0x01, int(row["code"], 16))
    assert reply.meaning == row["meaning"]
    assert reply.is_pending == (row["code"] == "78")
