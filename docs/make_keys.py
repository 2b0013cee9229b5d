"""Writes docs/design-keys.md from the models: `.venv/bin/python docs/make_keys.py`."""

from pathlib import Path

from filterlib.show.keys.key_page import key_markdown

(Path(__file__).parent / "design-keys.md").write_text(key_markdown(), encoding="utf-8")
