"""A converter, a filter and a load on wires over a chassis as differential equations written out by hand.

Its loops and elements are written here once more: no matrix, element list or waveform of the library. The
converter's ripple is its switching current into the output capacitor, its spike a ring in series, its node a trapezoid with
a ring of its own; scipy integrates one period from rest and its response to every start, so that the start of the periodic
state is known, and then that state.
"""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root

T, DUTY, EDGE = 1 / 180e3, 0.4, 40e-9  # [s]; the node's edges are 25 ns up and 60 ns down
RING = SimpleNamespace(frequency=40e6, cycles=2.0)  # of the spike, and of the node, which overshoots by a quarter
RISE, FALL, SWING, OVERSHOOT = 25e-9, 60e-9, 28.0, 0.25
SAMPLES = np.arange(20_000) * T / 20_000  # [s]: 40 MHz has 90 in a cycle

E = SimpleNamespace(  # F, ohm, H
    co=22e-6, reo=12e-3, leo=4e-9,  # output capacitor
    ro=20e-3, crossover=2 * np.pi * 9e3,  # regulating branch: its loop sees 1/(wc C), an inductance on either side of the bandwidth
    lead=15e-9,  # from there to the terminals
    c1=1e-6, r1=8e-3, l1=5e-9 + 4e-9, c2=2.2e-6, r2=6e-3, l2=7e-9 + 4e-9, m12=0.3e-9,  # capacitors, their loops, and between these
    rw=10e-3, leak=5e-6, lm=1e-3 - 5e-6, rm=2 * np.pi * 1e6 * (1e-3 - 5e-6), cw=12e-12,  # choke: 1 mH, 10 uH of leakage in the loop
    wire=0.5, r=0.5 * 1.7241e-8 / 0.75e-6,  # 0.5 m of 0.75 mm2, 3 mm apart
    load=7.0, coupling=100e-12, rc=15.0,  # 28 V, 4 A; heat sink to chassis
    lb=100e-9, rb=5e-3, lbl=200e-9, rbl=5e-3,  # bonds of converter and load
)  # fmt: skip
E.ri = 1 / (E.crossover * E.co)
E.li, E.ld = E.ri / (0.25 * E.crossover), E.ri / (5 * E.crossover)
_D = np.sqrt(4 / np.pi * 0.75e-6)
E.lw = 2e-7 * E.wire * (np.log(4 * E.wire / _D) - 1.0)  # one wire, Rosa 1908: of the ring the current is in the skin
E.mw = (
    2e-7 * E.wire * (np.arcsinh(E.wire / 3e-3) - np.sqrt(1 + (3e-3 / E.wire) ** 2) + 3e-3 / E.wire)
)  # both, Rosa 1908

Rates = Callable[[np.ndarray, np.ndarray, np.ndarray], list[np.ndarray]]


def board(x, dx, u):
    """Residuals of every loop and element: states x, their rates dx; u: switching current, its rate, spike, node."""
    i_d, i_l, i_p, i_n, i_e, i_load, w1, w2, i_m, i_i, v_o, v_1, v_2, v_w1, v_w2, v_c = x
    d_d, d_l, d_p, d_n, d_e, d_load, dw1, dw2, d_m, d_i, dv_o, dv_1, dv_2, dv_w1, dv_w2, dv_c = dx
    current, rate, spike, node = u
    i_o, d_o = current - i_d - i_l, rate - d_d - d_l  # into the output capacitor
    i_1, d_1 = i_l - i_p, d_l - d_p  # through C1, C2
    i_2, d_2 = i_p - i_load, d_p - d_load
    i_ret, d_ret = i_n + i_p - i_load, d_n + d_p - d_load  # the return wire, towards the load
    i_bl, d_bl = i_n + i_p, d_n + d_p  # bonds, each to the chassis
    i_bc, d_bc = -i_p - i_n - i_e, -d_p - d_n - d_e
    inner = v_o + E.reo * i_o + E.leo * d_o
    first = v_1 + E.r1 * i_1 + E.l1 * d_1 + E.m12 * d_2
    second = v_2 + E.r2 * i_2 + E.l2 * d_2 + E.m12 * d_1
    out = E.r * i_load + E.lw * d_load + E.mw * d_ret
    back = E.r * i_ret + E.lw * d_ret + E.mw * d_load
    at_converter, at_load = E.rb * i_bc + E.lb * d_bc, E.rbl * i_bl + E.lbl * d_bl
    core = E.rm * (w1 + w2 - i_m)
    return [
        E.ro * i_d + E.ri * (i_d - i_i) + E.ld * d_d - inner,
        E.li * d_i - E.ri * (i_d - i_i),
        inner + spike - E.lead * d_l - first,
        v_w1 - v_w2 + second - first,
        out + E.load * i_load - back - second,
        v_w2 + back + at_load - at_converter,
        at_converter + node - E.rc * i_e - v_c,
        E.rw * w1 + E.leak * dw1 + core - v_w1,
        E.rw * w2 + E.leak * dw2 + core - v_w2,
        E.lm * d_m - core,
        E.co * dv_o - i_o, E.c1 * dv_1 - i_1, E.c2 * dv_2 - i_2, E.cw * dv_w1 - i_p + w1, E.cw * dv_w2 - i_n + w2,
        E.coupling * dv_c - i_e,
    ]  # fmt: skip


def bare(x, dx, u):
    """The converter alone on 7 ohm, and a first-order 20 MHz limit behind its terminals."""
    i_d, i_l, i_i, v_o, seen = x
    d_d, d_l, d_i, dv_o, d_seen = dx
    current, rate, spike, _ = u
    i_o, d_o = current - i_d - i_l, rate - d_d - d_l
    inner = v_o + E.reo * i_o + E.leo * d_o
    return [
        E.ro * i_d + E.ri * (i_d - i_i) + E.ld * d_d - inner,
        E.li * d_i - E.ri * (i_d - i_i),
        inner + spike - E.lead * d_l - E.load * i_l,
        E.co * dv_o - i_o,
        d_seen / (2 * np.pi * 20e6) - E.load * i_l + seen,
    ]


# ---- sources ------------------------------------------------------------------------------------------------------------


def edge(t, length):
    """A step from 0 to 1 at t = 0 as a straight line of a length; and its integral."""
    x = np.clip(t / length + 0.5, 0, 1)
    return x, length * x**2 / 2 + np.maximum(t - length / 2, 0)


def rung(t, length):
    """A damped sine from t = 0, averaged over a length around each time."""
    w, decay = 2 * np.pi * RING.frequency, RING.frequency / RING.cycles

    def integral(t):
        late = np.maximum(t, 0)
        return (w - np.exp(-decay * late) * (w * np.cos(w * late) + decay * np.sin(w * late))) / (w**2 + decay**2)

    return (integral(t + length / 2) - integral(t - length / 2)) / length


def sources(t):
    """At times (t,) [s] of the period: switching current of 1 A peak to peak, its rate, spike of 1 V, node [V]; (4, t)."""
    starts = [
        period - T for period in (0, T, 2 * T)
    ]  # the period before, this one, and the next, whose edge begins in this one
    up, down = 1 / (DUTY * T), 1 / ((1 - DUTY) * T)
    current, rate, spike, node = -down * t, -down + 0 * t, 0 * t, 0 * t
    for start in starts:
        for sign, late, length in ((1, t - start, RISE), (-1, t - start - DUTY * T, FALL)):
            step, ramp = edge(late, EDGE)
            rate = rate + sign * (up + down) * step
            current = current + sign * (up + down) * ramp
            spike = spike + sign * rung(late, min(EDGE, 0.25 / RING.frequency))
            node = node + sign * (edge(late, length)[0] + OVERSHOOT * rung(late, 0.25 / RING.frequency))
    return np.array([current, rate, spike, SWING * node])


TABLE = sources(np.linspace(0, T, 200_001))  # 40 MHz has 900 in a cycle: straight lines between them


# ---- integration --------------------------------------------------------------------------------------------------------


def matrices(residuals, count):
    """dx = A x + B u, from the residuals, which are linear: one unit of each in turn."""
    zero, inputs = np.zeros(count), np.zeros(4)

    def columns(place, size):
        given = [(zero, zero, inputs)] * size
        units = np.eye(size)
        return np.array([residuals(*(*one[:place], units[n], *one[place + 1 :])) for n, one in enumerate(given)]).T

    mass, stiffness, drive = columns(1, count), columns(0, count), columns(2, 4)
    return -np.linalg.solve(mass, stiffness), -np.linalg.solve(mass, drive)


def periodic(residuals, count):
    """States (source, state, t) over one period of the periodic state: of switching current, of spike, of node."""
    a, b = matrices(residuals, count)
    groups = np.array([[1, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]).T  # which inputs belong to one source
    scale = np.abs(np.linalg.eigvals(a)).max()

    def rates(t, y):
        x, at = y.reshape(count, -1), t / T * 200_000
        low = min(int(at), 199_999)
        u = TABLE[:, low] + (at - low) * (TABLE[:, low + 1] - TABLE[:, low])
        dx = a @ x
        dx[:, :3] += b @ (u[:, None] * groups)
        return dx.ravel()

    start, times = np.hstack([np.zeros((count, 3)), np.eye(count)]), [*SAMPLES, T]
    longest = min(4 / scale, 5e-9)
    done = solve_ivp(rates, (0, T), start.ravel(), "DOP853", t_eval=times, rtol=1e-8, atol=1e-10, max_step=longest)
    assert done.success
    x = done.y.reshape(count, count + 3, -1)
    driven, free = x[:, :3], x[:, 3:]
    first = np.linalg.solve(np.eye(count) - free[..., -1], driven[..., -1])  # the start that comes back after a period
    return np.moveaxis(driven + np.einsum("ijt,jk->ikt", free, first), 1, 0)[..., :-1]


def scales(narrow, wide):
    """Of switching current and spike, so that the bare terminals read both figures [V] as stated."""
    found = periodic(bare, 5)
    seen, full = found[:2, 4], E.load * found[:2, 1]
    start = [narrow / np.ptp(seen[0]), wide / np.ptp(full[1])]
    wrong = root(lambda ab: [np.log(np.ptp(ab @ seen) / narrow), np.log(np.ptp(ab @ full) / wide)], start)
    assert wrong.success
    return np.array([*wrong.x, 1.0])
