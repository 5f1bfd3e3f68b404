"""What a viewer received is taken apart as it was sent."""

import pytest

from measure.page_viewers import events_of


def test_events_are_found_across_chunks() -> None:
    body = b"retry: 1000\n\nid: a-1\nevent: rows\ndata: [[0.5,{}]]\n\n"
    body += b"id: a-2\nevent: state\ndata: 1\n\n"
    chunks = [body[:20], body[20:47], body[47:]]
    answer = b"HTTP/1.1 200 OK\r\nx: y\r\n\r\n"
    answer += b"".join(b"%x\r\n%s\r\n" % (len(one), one) for one in chunks) + b"0\r\n\r\n"
    assert events_of(answer) == [("rows", "[[0.5,{}]]"), ("state", "1")]


def test_what_is_no_chunk_is_not_passed_over() -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        events_of(b"HTTP/1.1 204 No Content\r\n\r\nnothing\r\n")
