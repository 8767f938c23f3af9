"""Typst in a program of its own: what it makes, and what is said where it makes nothing."""

import json
from pathlib import Path

import pytest

from heritagecheck.documents import typst_process
from heritagecheck.documents.typst_process import typeset


def test_what_a_document_reads_lies_beside_it() -> None:
    """Files of any name and content; a query gives what was found."""
    files = {
        "main.typ": b'#metadata(read("odd name.bin", encoding: none).len())<size>',
        "odd name.bin": bytes(range(256)),
    }
    found = typeset("query", files, selector="<size>", field="value")

    assert json.loads(found) == [256]


def test_a_document_that_cannot_be_set_says_why() -> None:
    """The words are those of Typst, as if it ran in this program."""
    with pytest.raises(RuntimeError, match="unknown variable: nothing"):
        typeset("compile", {"main.typ": b"#nothing"}, format="pdf")


def test_a_typesetter_that_is_stopped_is_told_from_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A machine short of memory ends it from outside; the words say what to do."""
    stopped = tmp_path / "stopped.py"
    stopped.write_text("import os, signal; os.kill(os.getpid(), signal.SIGTERM)", encoding="utf-8")
    monkeypatch.setattr(typst_process, "__file__", str(stopped))

    with pytest.raises(RuntimeError, match=r"was stopped \(code .*\), perhaps for lack of memory"):
        typeset("compile", {"main.typ": b""}, format="pdf")


def test_modules_of_the_folder_one_works_in_are_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A user's own file may be called as a module is."""
    (tmp_path / "typst.py").write_text("raise SystemExit(7)", encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    assert typeset("compile", {"main.typ": b"ours"}, format="pdf").startswith(b"%PDF")
