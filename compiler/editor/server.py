"""The edge of the language server: messages in and out, and when to check; what is said is decided elsewhere."""

import asyncio
import functools
import gc
import logging
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lsprotocol import types
from pygls.exceptions import JsonRpcException
from pygls.lsp.server import LanguageServer

from . import wire
from .background import Background
from .features import register
from .positions import UTF16
from .renaming import Refused
from .verdicts import Finding, Verdict
from .workspace import Workspace

SOON = 0.008
"""Seconds after an edit before it is checked, so that edits that come together are checked once."""
LATEST = 0.1
"""Seconds that a row of edits can put a check off."""
PAUSE = 0.4
"""Seconds without an edit before anything is solved."""


def start() -> None:
    """Serve on standard input and output until the editor ends it."""
    logging.basicConfig(stream=sys.stderr, level=logging.CRITICAL)
    gc.disable()
    face = Face()
    try:
        face.server.start_io()
    finally:
        face.background.close()


class Face:
    """One session with an editor."""

    def __init__(self) -> None:
        self.server = LanguageServer(
            "meltwright", wire.VERSION, text_document_sync_kind=types.TextDocumentSyncKind.Full
        )
        self.addresses = wire.Addresses()
        self.workspace = Workspace()
        self.background = Background(self._found)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._check: asyncio.TimerHandle | None = None
        self._check_by = 0.0
        self._solve: asyncio.TimerHandle | None = None
        self._published: dict[Path, tuple[Any, ...]] = {}
        self._edited: set[Path] = set()
        self._watched = False
        self._unsolved: set[Path] = set()
        self._whole: set[Path] = set()
        self._jobs: dict[Path, tuple[int, dict[str, Any]]] = {}
        self._listen()
        register(self)

    def on(self, method: str, handle: Callable[[Any], Any], options: Any = None) -> None:
        """Handle a message; whatever goes wrong is told in a line, and gives an empty answer."""

        @functools.wraps(handle)
        def guarded(params: Any) -> Any:
            try:
                return handle(params)
            except Refused as refusal:
                raise JsonRpcException(str(refusal), types.LSPErrorCodes.RequestFailed.value) from None
            except Exception as error:  # a fault of this program must not end the session
                told(method, error)
                return None

        self.server.feature(method, options)(guarded)

    def ask(self, method: str, answer: Callable[[Any, Path], Any], options: Any = None) -> None:
        """Answer a request about a document, from what is known of its text of now."""

        def handle(params: Any) -> Any:
            path = self.addresses.met(params.text_document.uri)
            if path is None:
                return None
            self.workspace.settle()
            return answer(params, path)

        self.on(method, handle, options)

    @property
    def versions(self) -> wire.Versions | None:
        """The versions of the open texts, where the editor takes edits for a version."""
        capabilities = self.server.client_capabilities.workspace
        edits = capabilities.workspace_edit if capabilities else None
        return self.workspace.versions if edits is not None and edits.document_changes else None

    # ---- what the editor tells

    def _listen(self) -> None:
        self.on(types.INITIALIZE, self._initialize)
        self.on(types.INITIALIZED, self._initialized)
        self.on(types.TEXT_DOCUMENT_DID_OPEN, self._edit)
        self.on(types.TEXT_DOCUMENT_DID_CHANGE, self._edit)
        self.on(types.TEXT_DOCUMENT_DID_CLOSE, self._close)
        self.on(types.TEXT_DOCUMENT_DID_SAVE, lambda params: None if self._watched else self._disk(params))
        self.on(types.WORKSPACE_DID_CHANGE_WATCHED_FILES, self._disk)
        self.on(types.WORKSPACE_DID_CHANGE_WORKSPACE_FOLDERS, self._disk)
        self.on(types.SHUTDOWN, lambda _: self.background.close())
        self.on(types.EXIT, lambda _: self.background.close())

    def _initialize(self, params: types.InitializeParams) -> None:
        self._loop = asyncio.get_running_loop()

    def _initialized(self, params: types.InitializedParams) -> None:
        encoding = self.server.server_capabilities.position_encoding
        self.workspace = Workspace(self._folders(), str(getattr(encoding, "value", encoding) or UTF16))
        capabilities = self.server.client_capabilities.workspace
        watching = capabilities.did_change_watched_files if capabilities else None
        self._watched = bool(watching is not None and watching.dynamic_registration)
        if self._watched:
            options = types.DidChangeWatchedFilesRegistrationOptions([types.FileSystemWatcher("**/*.melt")])
            method = types.WORKSPACE_DID_CHANGE_WATCHED_FILES
            asked = types.RegistrationParams([types.Registration("watch", method, options)])
            self.server.client_register_capability(asked)
        self._soon()

    def _folders(self) -> list[Path]:
        told = [f.uri for f in self.server.workspace.folders.values()] or [self.server.workspace.root_uri or ""]
        return [p for p in map(wire.path_of, told) if p is not None]

    def _edit(self, params: types.DidOpenTextDocumentParams | types.DidChangeTextDocumentParams) -> None:
        document = self.server.workspace.get_text_document(params.text_document.uri)
        path = self.addresses.met(params.text_document.uri)
        if path is not None:
            self.workspace.put(path, document.source, params.text_document.version)
            self._edited.add(path)
            self._soon()

    def _close(self, params: types.DidCloseTextDocumentParams) -> None:
        path = self.addresses.met(params.text_document.uri)
        if path is not None:
            self.workspace.close(path)
            self._soon()

    def _disk(self, params: Any) -> None:
        self.workspace.folders = self._folders()
        self.workspace.look_again()
        self._soon()

    # ---- when to check

    def _soon(self) -> None:
        loop = asyncio.get_running_loop()
        if self._solve is not None:
            self._solve.cancel()
            self._solve = None
        if self._check is None:
            self._check_by = loop.time() + LATEST
        else:
            self._check.cancel()
        self._check = loop.call_at(min(loop.time() + SOON, self._check_by), self._check_now)

    def _check_now(self) -> None:
        self._check = None
        try:
            self.workspace.settle()
            self._unsolved |= self.workspace.take_checked()
            self._publish()
        except Exception as error:  # a fault of this program must not end the session
            told("checking", error)
        self._solve = asyncio.get_running_loop().call_later(PAUSE, self._solve_now)

    def _publish(self) -> None:
        """Send what is to be said of each file: where it is new, and for each edit that an editor waits for."""
        found = self.workspace.reports()
        for path in sorted({*found, *self._published, *self._edited}):
            reports = found.get(path, ())
            if self._published.get(path, ()) == reports and path not in self._edited:
                continue
            self._published[path] = reports
            told = [wire.diagnostic(r, self.addresses) for r in reports]
            version = self.workspace.versions.get(path)
            sent = types.PublishDiagnosticsParams(self.addresses.of(path), told, version)
            self.server.text_document_publish_diagnostics(sent)
        self._edited.clear()

    # ---- when to solve

    def _solve_now(self) -> None:
        self._solve = None
        # Collecting takes long where much is kept, so it is done when nobody types, and of what is new alone.
        gc.collect()
        gc.freeze()
        unsolved, self._unsolved = self._unsolved, set()
        programs = self.workspace.programs
        mains = [m for m in sorted(unsolved) if m in programs and self._solvable(m)]
        numbers = self.background.ask(mains, self.workspace.texts.open)
        for main, number in numbers.items():
            self._jobs[main] = number, dict(programs[main].sources)
            (self._whole.add if main in self.workspace.texts.open else self._whole.discard)(main)

    def _solvable(self, main: Path) -> bool:
        """Tell whether there is anything to be found out by solving a main file."""
        program, verdict = self.workspace.programs[main], self.workspace.verdicts.get(main)
        if not program.sound or not program.profiles:
            return False
        known = verdict is not None and verdict.final and verdict.of(program.sources)
        return not known or (main in self.workspace.texts.open and main not in self._whole)

    def _found(self, main: Path, number: int, finding: Finding) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._take, main, number, finding)

    def _take(self, main: Path, number: int, finding: Finding) -> None:
        """Take a finding, unless an edit has made it worthless."""
        asked, sources = self._jobs.get(main, (0, {}))
        if asked != number or main not in self.workspace.programs:
            return
        before = self.workspace.verdicts.get(main)
        kept = before.machines if before is not None and not finding.solved else ()
        self.workspace.take(main, Verdict(sources, finding.found, finding.machines or kept, finding.solved))
        try:
            self._publish()
            if finding.solved:
                self._refresh()
        except Exception as error:  # a fault of this program must not end the session
            told("solving", error)

    def _refresh(self) -> None:
        """Ask the editor to ask for its hints again."""
        capabilities = self.server.client_capabilities.workspace
        hints = capabilities.inlay_hint if capabilities else None
        if hints is not None and hints.refresh_support:
            self.server.workspace_inlay_hint_refresh(None)


def told(where: str, error: Exception) -> None:
    """Tell of a fault of this program in one line on standard error."""
    said = " ".join(f"{type(error).__name__}: {error}".split())
    print(f"meltwright editor: {where}: {said}", file=sys.stderr, flush=True)
