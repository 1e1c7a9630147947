"""A client of the language server in a process of its own, and what the two say to each other as text."""

import asyncio
import json
import sys
from pathlib import Path
from typing import Any

from lsprotocol import types
from pygls.lsp.client import LanguageClient


class Session:
    """Speaks to ``meltwright editor``; ``transcript`` holds what was asked and told, with paths left out."""

    def __init__(self, folder: Path, *, encoding: str = "utf-16", record: bool = True) -> None:
        self.folder = folder
        self.encoding = encoding
        self.client = LanguageClient("tests", "1")
        self.transcript: list[str] = []
        self.record = record
        self.versions: dict[str, int] = {}
        self.published: dict[str, types.PublishDiagnosticsParams] = {}
        self.refreshed = asyncio.Event()
        self.registered: list[str] = []
        self._news = asyncio.Condition()
        self._count = 0

    async def start(self) -> types.InitializeResult:
        """Start the server and greet it."""

        @self.client.feature(types.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)
        async def published(params: types.PublishDiagnosticsParams) -> None:
            async with self._news:
                self.published[params.uri] = params
                self._count += 1
                self._news.notify_all()

        @self.client.feature(types.WORKSPACE_INLAY_HINT_REFRESH)
        def refresh(params: Any) -> None:
            self.refreshed.set()

        @self.client.feature(types.CLIENT_REGISTER_CAPABILITY)
        def registered(params: types.RegistrationParams) -> None:
            self.registered += [r.method for r in params.registrations]

        await self.client.start_io(sys.executable, "-m", "meltwright", "editor")
        capabilities = types.ClientCapabilities(
            general=types.GeneralClientCapabilities(position_encodings=[types.PositionEncodingKind(self.encoding)]),
            workspace=types.WorkspaceClientCapabilities(
                did_change_watched_files=types.DidChangeWatchedFilesClientCapabilities(dynamic_registration=True),
                inlay_hint=types.InlayHintWorkspaceClientCapabilities(refresh_support=True),
            ),
        )
        folder = types.WorkspaceFolder(self.folder.as_uri(), self.folder.name)
        result = await self.client.initialize_async(
            types.InitializeParams(capabilities, root_uri=self.folder.as_uri(), workspace_folders=[folder])
        )
        self.client.initialized(types.InitializedParams())
        return result

    async def stop(self) -> str:
        """End the server in good order; gives what it wrote to standard error."""
        await self.client.shutdown_async(None)
        self.client.exit(None)
        server = self.client._server
        assert server is not None and server.stderr is not None
        said = (await server.stderr.read()).decode()
        assert await server.wait() == 0
        self.client._stop_event.set()
        return said

    def uri(self, name: str) -> str:
        """Give the address of a file of the folder."""
        return (self.folder / name).as_uri()

    def open(self, name: str) -> str:
        """Open a file; gives its text."""
        text = (self.folder / name).read_text(encoding="utf-8")
        self.versions[name] = 1
        item = types.TextDocumentItem(self.uri(name), "melt", 1, text)
        self.client.text_document_did_open(types.DidOpenTextDocumentParams(item))
        return text

    def edit(self, name: str, text: str) -> None:
        """Give an open file another text."""
        self.versions[name] += 1
        document = types.VersionedTextDocumentIdentifier(self.versions[name], self.uri(name))
        change = types.TextDocumentContentChangeWholeDocument(text)
        self.client.text_document_did_change(types.DidChangeTextDocumentParams(document, [change]))

    async def diagnostics(self, name: str, version: int | None = None) -> list[types.Diagnostic]:
        """Wait for the diagnostics of the last edit of a file."""
        wanted = self.versions[name] if version is None else version
        uri = self.uri(name)

        def there() -> bool:
            found = self.published.get(uri)
            return found is not None and found.version == wanted

        async with self._news:
            await asyncio.wait_for(self._news.wait_for(there), 30)
        return list(self.published[uri].diagnostics)

    async def news(self, name: str) -> list[types.Diagnostic]:
        """Wait until there is something to be said of a file."""
        uri = self.uri(name)
        async with self._news:
            there = self._news.wait_for(lambda: bool(uri in self.published and self.published[uri].diagnostics))
            await asyncio.wait_for(there, 60)
        return list(self.published[uri].diagnostics)

    async def calm(self, name: str) -> list[types.Diagnostic]:
        """Wait until there is nothing to be said of a file."""
        uri = self.uri(name)
        async with self._news:
            there = self._news.wait_for(lambda: uri in self.published and not self.published[uri].diagnostics)
            await asyncio.wait_for(there, 60)
        return []

    def note(self, title: str, said: Any) -> None:
        """Write something down."""
        told = self.client.protocol._converter.unstructure(said)
        text = json.dumps(told, indent=1, ensure_ascii=False, default=str)
        self.transcript.append(f"== {title}\n{self.neutral(text)}")

    def neutral(self, text: str) -> str:
        """Leave out where the folder and the library lie."""
        from meltwright.meaning.loading import library_folder

        text = text.replace(self.folder.as_uri(), "PROJECT").replace(library_folder().resolve().as_uri(), "LIBRARY")
        return text.replace(str(self.folder), "PROJECT")
