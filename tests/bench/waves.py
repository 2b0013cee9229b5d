"""Recordings whose contents are known, made sample by sample."""

import numpy as np

from filterlib.bench.capture.recording import Recording

FREQUENCY, INTERVAL = 180e3, 4e-9
RING, DECAY = 50e6, 60e-9
PERIOD = 1 / FREQUENCY


def triangle(phase, duty=0.4):
    """From -1/2 to 1/2, rising over the first part of the period; zero beyond one period."""
    wave = np.where(phase < duty, phase / duty, (1 - phase) / (1 - duty)) - 0.5
    return np.where((phase >= 0) & (phase < 1), wave, -0.5)


def rings(since):
    """A damped sine of amplitude 1 from since = 0 on [s]."""
    return np.where(since >= 0, np.exp(-np.maximum(since, 0) / DECAY) * np.sin(2 * np.pi * RING * since), 0.0)


def from_events(starts, volts=0.1, spike=0.0, noise=0.0, length=PERIOD, interval=INTERVAL, seed=1, **about):
    """One triangle of ``length`` (one, or one for each event) with a ring at its start, from each start on [s]."""
    count = int(starts[-1] / interval)
    times = interval * np.arange(count)
    nth = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, None)
    since = times - np.asarray(starts)[nth]
    lengths = np.broadcast_to(length, np.shape(starts))[nth]
    wave = volts * triangle(since / lengths) + spike * rings(since)
    return Recording(wave + np.random.default_rng(seed).normal(0, noise, count), interval, **about)


def strays(count, jitter):
    """How much later than an even clock each period begins [s]."""
    return np.random.default_rng(7).normal(0, jitter, count)


def steady(count=200, jitter=0.0, **options):
    """Even periods; with jitter each period begins a little early or late, at its lowest point."""
    return from_events(np.arange(count + 1) * PERIOD + strays(count + 1, jitter), **options)
