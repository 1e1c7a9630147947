"""Keeps one process solving: the newest text counts, and a job that an edit made worthless is ended."""

import contextlib
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from .verdicts import Finding
from .worker import Answer, Job, receive, send

Told = Callable[[Path, int, Finding], None]
"""Told of a finding: the main file, the number of its job, and what was found. Called in another thread."""


class Background:
    """Solves main files one after the other in a process of its own."""

    def __init__(self, told: Told) -> None:
        self._told = told
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._waiting: list[Job] = []
        self._running: Job | None = None
        self._number = 0
        self._closed = False

    def ask(self, mains: Sequence[Path], open_texts: Mapping[Path, str]) -> dict[Path, int]:
        """Put main files in line, and end what is at work on one of them; gives the numbers of the new jobs.

        Those that are open are solved, and come first; of the others the first look is enough.
        """
        with self._lock:
            if self._closed:
                return {}
            numbers = {}
            self._waiting = [j for j in self._waiting if j.main not in mains]
            for main in mains:
                self._number += 1
                numbers[main] = self._number
                self._waiting.append(Job(self._number, main, main in open_texts, dict(open_texts)))
            self._waiting.sort(key=lambda j: not j.whole)
            if self._running is not None and self._running.main in mains:
                self._end()
            self._next()
            return numbers

    def close(self) -> None:
        """End it all."""
        with self._lock:
            self._closed = True
            self._waiting = []
            self._end()

    def _end(self) -> None:
        """End the process; the next job starts another."""
        process, self._process, self._running = self._process, None, None
        if process is not None:
            process.kill()
            if process.stdin is not None:
                with contextlib.suppress(OSError):
                    process.stdin.close()
            process.wait()

    def _next(self) -> None:
        if self._running is not None or not self._waiting:
            return
        job = self._running = self._waiting.pop(0)
        if self._process is None or self._process.poll() is not None:
            # -P: what lies in the working folder is no part of the program.
            command = [sys.executable, "-P", "-c", f"from {__package__}.worker import main; main()"]
            self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
            threading.Thread(target=self._listen, args=(self._process,), daemon=True).start()
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            send(self._process.stdin, job)

    def _listen(self, process: "subprocess.Popen[bytes]") -> None:
        """Pass on what a process finds, until it ends."""
        assert process.stdout is not None
        with process.stdout as answers:
            while self._pass_on(process, receive(answers)):
                pass

    def _pass_on(self, process: "subprocess.Popen[bytes]", answer: object | None) -> bool:
        """Pass on an answer, None where there are no more; tell whether to go on listening."""
        with self._lock:
            job = self._running
            if process is not self._process:
                return False
            if answer is None:
                # It ended by itself, which no job should bring about; the job is given up.
                self._process, self._running = None, None
                self._next()
                return False
            assert isinstance(answer, Answer)
            if answer.finding is None:
                self._running = None
                self._next()
        if answer.finding is not None and job is not None and job.number == answer.number:
            self._told(job.main, job.number, answer.finding)
        return True
