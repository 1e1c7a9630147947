"""The process that solves while somebody types: jobs come in on standard input, findings go out on standard output.

A process and not a thread, so that typing never waits for it and so that a job can be ended at any time.
"""

import os
import pickle
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from ..meaning.memory import LastingMemory
from .programs import Program, first_look, look_again
from .texts import Texts
from .verdicts import Finding


@dataclass(frozen=True, slots=True)
class Job:
    """A main file to look at, with the texts of all files that are open; ``whole``: to be solved, too."""

    number: int
    main: Path
    whole: bool
    open: dict[Path, str]


@dataclass(frozen=True, slots=True)
class Answer:
    """A finding of a job, or None when the job is over."""

    number: int
    finding: Finding | None


def main() -> None:
    """Do jobs until the input ends."""
    jobs, answers = sys.stdin.buffer, os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # Nothing that a library may print can get among the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    if hasattr(os, "nice"):
        os.nice(5)
    from .judging import judge

    texts, memory, programs = Texts(), LastingMemory(), dict[Path, Program]()
    while (job := receive(jobs)) is not None:
        assert isinstance(job, Job)
        try:
            for finding in judge(_program(job, texts, memory, programs), job.whole):
                send(answers, Answer(job.number, finding))
        except Exception as error:  # a fault of this program must not end it
            print(f"meltwright editor: solving {job.main.name}: {error!r}", file=sys.stderr)
        send(answers, Answer(job.number, None))


def _program(job: Job, texts: Texts, memory: LastingMemory, programs: dict[Path, Program]) -> Program:
    texts.look_again()
    for path in texts.open.keys() - job.open.keys():
        texts.put(path, None)
    for path, text in job.open.items():
        texts.put(path, text)
    program = programs.get(job.main)
    if program is None:
        program = programs[job.main] = first_look(job.main, texts, memory)
    else:
        look_again(program, list(program.names), texts)
    return program


def send(stream: IO[bytes], message: object) -> None:
    """Write a message with its length before it."""
    data = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(len(data).to_bytes(8, "big") + data)
    stream.flush()


def receive(stream: IO[bytes]) -> object | None:
    """Read a message; None where the stream has ended."""
    head = stream.read(8)
    if len(head) < 8:
        return None
    size = int.from_bytes(head, "big")
    data = stream.read(size)
    return pickle.loads(data) if len(data) == size else None
