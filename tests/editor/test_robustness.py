"""Whatever an editor sends, and whatever happens to the files: the server goes on, and says so in one line at most."""

import asyncio
import contextlib
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from lsprotocol import types
from meltwright import cli
from meltwright.commands import editor
from meltwright.editor.server import Face
from meltwright.editor.workspace import Workspace
from pygls.exceptions import JsonRpcException

from tests.editor.session import Session
from tests.editor.small import Small, texts


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in texts().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path.resolve()


async def told_of_the_disk(s: Session, name: str, kind: types.FileChangeType) -> None:
    """Tell the server that a file came, went or changed."""
    change = types.FileEvent(s.uri(name), kind)
    s.client.workspace_did_change_watched_files(types.DidChangeWatchedFilesParams([change]))


def test_files_that_come_and_go(folder: Path) -> None:
    async def session() -> str:
        s = Session(folder)
        await s.start()
        s.open("job.melt")
        assert await s.diagnostics("job.melt") == []
        (folder / "shop.melt").rename(folder / "away.melt")
        await told_of_the_disk(s, "shop.melt", types.FileChangeType.Deleted)
        assert [d.code for d in await s.news("job.melt")] == ["M203"]
        assert s.registered == [types.WORKSPACE_DID_CHANGE_WATCHED_FILES]
        (folder / "away.melt").rename(folder / "shop.melt")
        await told_of_the_disk(s, "shop.melt", types.FileChangeType.Created)
        assert await s.calm("job.melt") == []
        return await s.stop()

    assert asyncio.run(session()) == ""


def test_a_used_file_that_is_edited_tells_of_its_users(folder: Path) -> None:
    async def session() -> str:
        s = Session(folder)
        await s.start()
        text = s.open("shop.melt")
        await s.diagnostics("shop.melt")
        s.edit("shop.melt", text.replace("machine open_block", "machine shut_block"))
        (found,) = await s.news("job.melt")
        assert found.message.startswith("there is no machine open_block")
        # What was typed and not saved is taken back.
        document = types.TextDocumentIdentifier(s.uri("shop.melt"))
        s.client.text_document_did_close(types.DidCloseTextDocumentParams(document))
        assert await s.calm("job.melt") == []
        return await s.stop()

    assert asyncio.run(session()) == ""


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-32"])
def test_places_in_every_encoding(folder: Path, encoding: str) -> None:
    async def session() -> str:
        s = Session(folder, encoding=encoding)
        started = await s.start()
        assert started.capabilities.position_encoding == encoding
        text = s.open("shop.melt")
        line = '  diameter  1.75 ± 0.02 mm  measured "𝄞 ±" published "twice"'
        s.edit(
            "shop.melt", text.replace('  diameter  1.75 ± 0.02 mm  measured "calliper, ten places (invented)"', line)
        )
        (found,) = await s.diagnostics("shop.melt")
        width = {"utf-8": 1, "utf-16": 2, "utf-32": 4}[encoding]
        before = line[: line.index("published")].encode(encoding + ("" if width == 1 else "-le"))
        assert found.range.start.character == len(before) // width
        return await s.stop()

    assert asyncio.run(session()) == ""


def test_requests_that_make_no_sense(folder: Path) -> None:
    async def session() -> str:
        s = Session(folder)
        await s.start()
        s.open("job.melt")
        far = types.Position(10_000, 10_000)
        for uri in (s.uri("job.melt"), s.uri("nowhere.melt"), "untitled:one", "https://example.org/a.melt"):
            document = types.TextDocumentIdentifier(uri)
            await s.client.text_document_hover_async(types.HoverParams(document, far))
            await s.client.text_document_completion_async(types.CompletionParams(document, far))
            await s.client.text_document_definition_async(types.DefinitionParams(document, far))
            whole = types.Range(far, far)
            await s.client.text_document_inlay_hint_async(types.InlayHintParams(document, whole))
            with contextlib.suppress(JsonRpcException):
                await s.client.text_document_rename_async(types.RenameParams(document, far, "x"))
        return await s.stop()

    assert asyncio.run(session()) == ""


def test_an_untitled_text_is_left_alone(folder: Path) -> None:
    async def session() -> str:
        s = Session(folder)
        await s.start()
        item = types.TextDocumentItem("untitled:one", "melt", 1, "profile x {")
        s.client.text_document_did_open(types.DidOpenTextDocumentParams(item))
        s.open("job.melt")
        assert await s.diagnostics("job.melt") == []
        assert list(s.published) == [s.uri("job.melt")]
        return await s.stop()

    assert asyncio.run(session()) == ""


def test_a_fault_of_the_program_gives_an_empty_answer(capsys: pytest.CaptureFixture[str]) -> None:
    face = Face()

    def broken(params: Any) -> Any:
        raise ValueError("one\ntwo")

    face.on("test/broken", broken)
    assert face.server.protocol.fm.features["test/broken"](None) is None
    assert capsys.readouterr() == ("", "meltwright editor: test/broken: ValueError: one two\n")


def test_nothing_but_messages_on_standard_output(folder: Path) -> None:
    """A header and what it announces, again and again, up to the end."""
    greeting = {"capabilities": {}, "processId": None, "rootUri": None}
    messages: list[dict[str, object]] = [{"id": 1, "method": "initialize", "params": greeting}]
    messages += [{"id": 2, "method": "shutdown"}, {"method": "exit"}]
    asked = b""
    for message in messages:
        body = json.dumps({"jsonrpc": "2.0", **message}).encode()
        asked += b"Content-Length: %d\r\n\r\n%s" % (len(body), body)
    command = [sys.executable, "-m", "meltwright", "editor", "--stdio"]
    done = subprocess.run(command, input=asked, capture_output=True, check=False, cwd=folder, timeout=60)
    rest, count = done.stdout, 0
    while rest:
        head, _, rest = rest.partition(b"\r\n\r\n")
        length = int(head.split(b"Content-Length: ")[1].split(b"\r\n")[0])
        assert rest[:length].startswith(b"{")
        rest, count = rest[length:], count + 1
    assert (count, done.returncode, done.stderr) == (2, 0, b"")


def test_without_the_extra_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(editor, "NEEDS", ("no_such_package",))
    assert cli.main(["editor"]) == 1
    out, told = capsys.readouterr()
    assert out == ""
    assert "error[M820 no-editor-extra]: the language server needs no_such_package, which is not installed" in told
    assert "-m pip install 'pygls>=2'" in told


def test_files_without_a_user_are_checked_on_their_own(tmp_path: Path) -> None:
    small = Small(tmp_path, {"alone.melt": "quantity a of machine : lengths\n"})
    assert small.codes() == {"alone.melt": ["M216"]}


def test_files_that_use_one_another_in_a_circle(tmp_path: Path) -> None:
    small = Small(tmp_path, {"a.melt": 'use "b.melt"\n', "b.melt": 'use "a.melt"\n'})
    assert small.codes() == {"b.melt": ["M201"]}
    small.put("b.melt", "# nothing any more\nquantity a of machine : number\n")
    assert small.codes() == {}


def test_a_text_that_is_open_before_any_folder_is_known(tmp_path: Path) -> None:
    small = Small(tmp_path)
    alone = Workspace()
    alone.put(small.path("job.melt"), small.files["job.melt"].replace("open_block", "shut_block"))
    alone.settle()
    assert [r.code for r in alone.reports()[small.path("job.melt")]] == ["M212"]
