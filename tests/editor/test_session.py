"""A whole session with the language server, as an editor has it: over standard input and output, against the demo."""

import asyncio
import shutil
from pathlib import Path

import pytest
from lsprotocol import types
from meltwright.meaning.loading import library_folder
from pygls.exceptions import JsonRpcException
from syrupy.assertion import SnapshotAssertion

from tests.editor.session import Session

STRAP = "watch_strap.melt"


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    folder = tmp_path / "demo"
    shutil.copytree(library_folder() / "demos", folder)
    return folder.resolve()


def place(text: str, snippet: str) -> types.Position:
    """Give the place of the mark in a snippet; the demo has no character that takes two units."""
    offset = text.index(snippet.replace("‸", "")) + snippet.index("‸")
    return position(text[:offset])


def position(before: str) -> types.Position:
    """Give the place where a text ends."""
    return types.Position(before.count("\n"), len(before) - before.rfind("\n") - 1)


def test_a_session(demo: Path, snapshot: SnapshotAssertion) -> None:
    session = Session(demo)
    said = asyncio.run(_session(session))
    assert said == ""
    assert "\n".join(session.transcript) == snapshot


async def _session(s: Session) -> str:
    client = s.client
    s.note("initialize", await s.start())
    text = s.open(STRAP)
    s.note("open: diagnostics", await s.diagnostics(STRAP))

    broken = text.replace("86 ± 2 shore_a", "86 ± 2 mm").replace("prefer        throughput", "prefer        thruput")
    s.edit(STRAP, broken.replace("0.20 mm", "0.20 MM"))
    found = await s.diagnostics(STRAP)
    s.note("a unit that does not fit, a misspelt one, and a misspelt merit: diagnostics", found)
    document = types.TextDocumentIdentifier(s.uri(STRAP))
    asked = types.CodeActionParams(document, found[-1].range, types.CodeActionContext(found))
    s.note("quick fixes of the misspelt merit", await client.text_document_code_action_async(asked))
    all_at_once = types.CodeActionContext(found, only=[types.CodeActionKind.SourceFixAll])
    asked = types.CodeActionParams(document, found[-1].range, all_at_once)
    s.note("all that leaves no doubt", await client.text_document_code_action_async(asked))
    cut = text.replace("hardness  86 ± 2 shore_a", "hardness  86 ±")
    s.edit(STRAP, cut)
    s.note("a line that ends too early: diagnostics", await s.diagnostics(STRAP))
    s.edit(STRAP, text)
    s.note("mended: diagnostics", await s.diagnostics(STRAP))

    # From here on all answers know what was solved, however slow the machine is.
    await asyncio.wait_for(s.refreshed.wait(), 60)
    whole = types.Range(types.Position(0, 0), types.Position(99, 0))
    s.note("solved: hints", await client.text_document_inlay_hint_async(types.InlayHintParams(document, whole)))
    for snippet in ("string‸ing", "hard‸ness", "finish        at most smo‸oth", "mater‸ial      strap", "shop.m‸elt"):
        at = place(text, snippet)
        s.note(f"hover: {snippet}", await client.text_document_hover_async(types.HoverParams(document, at)))
    for snippet in ("machines      corner_t‸ube", "from urethane‸_85a", "layer.hei‸ght", 'use "shop‸.melt"'):
        at = place(text, snippet)
        found = await client.text_document_definition_async(types.DefinitionParams(document, at))
        s.note(f"definition: {snippet}", found)
    at = place(text, "machines      corner_t‸ube")
    using = types.ReferenceParams(types.ReferenceContext(False), document, at)
    s.note("references: corner_tube", await client.text_document_references_async(using))

    await _complete(s, text)
    s.note(
        "rename: corner_tube", await client.text_document_rename_async(types.RenameParams(document, at, "first_tube"))
    )
    for snippet, new in (("hard‸ness", "shore"), ("machines      corner_t‸ube", "bench_tube")):
        with pytest.raises(JsonRpcException) as refused:
            await client.text_document_rename_async(types.RenameParams(document, place(text, snippet), new))
        s.note(f"rename: {snippet} to {new}", refused.value.message)

    outline = await client.text_document_document_symbol_async(types.DocumentSymbolParams(document))
    assert outline is not None
    s.note("outline", [(o.name, o.detail, [i.name for i in o.children or ()]) for o in outline])  # type: ignore[union-attr]

    messy = text.replace("  stringing     at most hair", "  stringing at   most hair").replace("±", "+-", 1)
    s.edit(STRAP, messy)
    options = types.FormattingOptions(tab_size=2, insert_spaces=True)
    edits = await client.text_document_formatting_async(types.DocumentFormattingParams(document, options))
    s.note("format", edits)
    s.edit(STRAP, text)

    await _conflict(s)
    return await s.stop()


async def _complete(s: Session, text: str) -> None:
    document = types.TextDocumentIdentifier(s.uri(STRAP))
    for old, new in (
        ("  stringing     at most hair", "  stringing     at most ‸"),
        ("0.20 mm", "0.20 ‸"),
        ("  diameter", "  ‸\n  diameter"),
        ('use library "materials/urethanes"', 'use library "machines/‸"'),
    ):
        typed = text.replace(old, new, 1)
        s.edit(STRAP, typed.replace("‸", ""))
        asked = types.CompletionParams(document, position(typed[: typed.index("‸")]))
        found = await s.client.text_document_completion_async(asked)
        assert isinstance(found, types.CompletionList)
        items = sorted(found.items, key=lambda i: i.sort_text or "")
        s.note(f"completion: {new}", [f"{i.label} ({types.CompletionItemKind(i.kind).name})" for i in items[:12]])
        if "at most" in new:
            s.note("completion: the first item whole", items[0])
    s.edit(STRAP, text)


async def _conflict(s: Session) -> None:
    """Ask for too much: the solver's conflict comes after a pause, with the lines that took part and its cures."""
    name = "refused/drive_belt.melt"
    s.open(name)
    s.note("a conflict: at first", await s.diagnostics(name))
    found = await s.news(name)
    s.note("a conflict: once solved", found)
    document = types.TextDocumentIdentifier(s.uri(name))
    asked = types.CodeActionParams(document, found[0].range, types.CodeActionContext(found))
    offered = await s.client.text_document_code_action_async(asked)
    s.note("a conflict: quick fixes", [(a.title, a.edit) for a in offered or () if isinstance(a, types.CodeAction)])
