"""Left eigenvectors of the map from memory to memory: beside scipy's, and where eigenvalues coincide."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import linalg

from filterlib.network.equations.modes import DEFECTIVE, _left

EXACT = 1e-12  # of 1


@given(st.integers(0, 10_000))
def test_left_eigenvectors_are_those_of_scipy(seed):
    """second method; the projector on an eigenvector does not depend on its length and phase"""
    matrix = np.random.default_rng(seed).standard_normal((7, 7))
    mu, vectors = np.linalg.eig(matrix)
    mine = np.abs(mu) < np.median(np.abs(mu)) * (1 + 1e-9)  # pairs stay together
    rows = _left(matrix, mu[mine], vectors[:, mine])
    theirs, left, right = linalg.eig(matrix, left=True)
    for one, row, column in zip(mu[mine], rows, vectors[:, mine].T, strict=True):
        at = np.argmin(abs(theirs - one))
        expected = np.outer(right[:, at], left[:, at].conj()) / (left[:, at].conj() @ right[:, at])
        found = np.outer(column, row)
        assert_allclose(found, expected, rtol=0, atol=1e-9 * np.abs(expected).max())


def test_two_alike_eigenvalues_get_rows_that_belong_to_their_columns():
    basis = np.array([[1.0, 2, 0, 1], [0, 1, 1, 0], [1, 0, 1, 3], [2, 1, 0, 1]])
    matrix = basis @ np.diag([0.5, 0.5, 0.9, 0.1]) @ np.linalg.inv(basis)
    mu, vectors = np.linalg.eig(matrix)
    mine = abs(mu - 0.5) < 0.1
    rows = _left(matrix, mu[mine], vectors[:, mine])
    assert_allclose(rows @ vectors[:, mine], np.eye(2), rtol=0, atol=EXACT)  # hand
    assert_allclose(rows @ vectors[:, ~mine], np.zeros((2, 2)), rtol=0, atol=100 * EXACT)  # hand
    projector = basis[:, :2] @ np.linalg.inv(basis)[:2]
    assert_allclose(vectors[:, mine] @ rows, projector, rtol=0, atol=100 * EXACT)  # hand


def test_eigenvectors_that_coincide_are_seen():
    """hand: a Jordan block has one eigenvector, at right angles to its left one, also where rounding has split it."""
    for split in (0.0, 1e-14):
        matrix = np.array([[0.5, 1.0, 0.0], [0.0, 0.5 + split, 0.0], [0.0, 0.0, 0.2]])
        mu, vectors = np.linalg.eig(matrix)
        mine = abs(mu - 0.5) < 0.1
        assert np.linalg.norm(_left(matrix, mu[mine], vectors[:, mine]), axis=1).max() > DEFECTIVE
