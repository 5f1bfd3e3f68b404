"""A form's body, read to its end before anything is done with it, and then given again.

A file's form is as long as its file, so what is long lies on the disk meanwhile.
"""

import hashlib
import re
import tempfile

from starlette.concurrency import run_in_threadpool
from starlette.types import Message, Receive

__all__ = ["FormBody", "read_body"]

_IN_MEMORY_BYTES = 1 << 20
_BLOCK_BYTES = 1 << 18
_BOUNDARY = re.compile(r'multipart/form-data;.*boundary="?([^";]+)', re.IGNORECASE)


class FormBody:
    """A body that was read; ``receive`` gives it again, and then what comes after it.

    ``told`` is what it says, as a hash: a browser parts the same form by another boundary each
    time, which does not count. It is empty where the body did not come to its end.
    """

    def __init__(self, receive: Receive, content_type: str) -> None:
        self.told = ""
        self._receive = receive
        self._kept = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY_BYTES)  # noqa: SIM115
        self._size = 0
        self._left: int | None = None
        self._next: list[Message] = []
        found = _BOUNDARY.search(content_type)
        self._boundary = f"--{found[1]}".encode() if found else b""

    async def read(self) -> None:
        """Read it to its end, to where its sender left, or to where the disk is full."""
        while True:
            message = await self._receive()
            body = message.get("body", b"")
            if message["type"] != "http.request" or not await self._keep(body):
                self._next.append(message)
                return
            if not message.get("more_body", False):
                break
        self._next.append({"type": "http.request", "body": b"", "more_body": False})
        self.told = await run_in_threadpool(self._hash)

    async def _keep(self, body: bytes) -> bool:
        """Whether a piece could be kept; what reads the form meets the same disk and tells."""
        try:
            await run_in_threadpool(self._kept.write, body)
        except OSError:
            return False
        self._size += len(body)
        return True

    def _hash(self) -> str:
        digest, rest = hashlib.sha256(), b""
        self._kept.seek(0)
        while block := self._kept.read(_BLOCK_BYTES):
            rest += block
            if self._boundary:
                *whole, rest = rest.split(self._boundary)
                digest.update(b"".join(one + b"\n" for one in whole))
            # A boundary may lie across two blocks.
            sure = max(0, len(rest) - len(self._boundary)) if self._boundary else len(rest)
            digest.update(rest[:sure])
            rest = rest[sure:]
        digest.update(rest)
        return digest.hexdigest()

    async def receive(self) -> Message:
        """A piece of what was read; after its end whatever comes."""
        if self._left is None:
            self._kept.seek(0)
            self._left = self._size
        if self._left:
            body = await run_in_threadpool(self._kept.read, min(self._left, _BLOCK_BYTES))
            self._left -= len(body)
            return {"type": "http.request", "body": body, "more_body": True}
        return self._next.pop(0) if self._next else await self._receive()

    def close(self) -> None:
        """Nothing of it is kept."""
        self._kept.close()


async def read_body(receive: Receive, content_type: str) -> FormBody:
    """Read a form's body; whoever has it closes it."""
    body = FormBody(receive, content_type)
    try:
        await body.read()
    except BaseException:
        body.close()
        raise
    return body
