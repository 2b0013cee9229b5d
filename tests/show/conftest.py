"""The made-up review, for every test of this folder."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def fakes():
    """The module of made-up designs and results."""
    spec = importlib.util.spec_from_file_location("show_fakes", Path(__file__).with_name("fakes.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def review(fakes):
    """A review of two operating points and two loads, made up."""
    return fakes.review()
