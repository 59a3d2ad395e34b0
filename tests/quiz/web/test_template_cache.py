"""Compiled templates are kept for the next start, and nothing breaks where they cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest
from jinja2 import Environment

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.web.template_cache import TemplateCache, keep_compiled


def settings_page(data_file: DataFile, folder: Path) -> str:
    app = create_app(data_file)
    keep_compiled(app, folder)
    page = app.test_client().get("/settings")
    assert page.status_code == 200
    return page.text


def test_the_next_start_compiles_nothing(data_file: DataFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = settings_page(data_file, tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir())

    def compiled(*_: object, **__: object) -> None:
        raise AssertionError("a template was compiled again")

    monkeypatch.setattr(Environment, "_generate", compiled)
    assert settings_page(data_file, tmp_path / "kept") == first


def test_a_folder_that_cannot_be_written_does_no_harm(
    data_file: DataFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    assert settings_page(data_file, tmp_path / "file" / "below")
    folder = tmp_path / "gone"

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "no space left on the device")

    monkeypatch.setattr("tempfile.NamedTemporaryFile", full)
    assert settings_page(data_file, folder)
    assert list(folder.iterdir()) == []
    assert TemplateCache(str(folder)).directory == str(folder)
