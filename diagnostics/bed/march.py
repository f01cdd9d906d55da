"""Steps a row of beds in time.

Question: what do loading, heat and leaving air do over the next seconds? Inputs: beds, streams, states. Method: a
two-stage Rosenbrock method of second order (Verwer et al. 1999, SIAM J. Sci. Comput. 20, 1456). Each stage ends in one
banded triangular solve over all cells of all beds, gas swept exactly within a cell. Any approximate Jacobian keeps the
order; water and energy change by face fluxes alone, so both close to rounding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.linalg.lapack import dtbtrs

from diagnostics.bed.column import (
    AIR_GAS_CONSTANT_J_KG_K,
    AIR_HEAT_J_KG_K,
    HIGHEST_SHARE,
    MASS_RATIO,
    REFERENCE_K,
    VAPOUR_HEAT_J_KG_K,
    Array,
    BedState,
    Packing,
    Passage,
    Stream,
    exchange_rates,
    heat_at_reference,
    mixing_ratio,
    vapour_pressure,
)
from diagnostics.bed.donor import given_at_most
from diagnostics.bed.isotherm import VAPOUR_GAS_CONSTANT_J_KG_K
from diagnostics.bed.within_cell import bend_of, sharpened, solid_sweep, tilt_of

_GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
_OPAQUE = 700.0
_MOST_HALVINGS = 8
_STIFF = 3.0
_EVEN_STEPS = 6
_EVEN_BEADS = np.array([[0.0], [1.0]])
_WATER_NOT_WARMTH = np.array([[True], [False]])
_DRIER_THAN_DRY, _FARTHEST_LOADING, _FARTHEST_K = 2e-7, 0.02, 20.0
_SHARE_OF_WETTEST = 0.02


class Row:
    """Beds in a row under constant streams, each bed's cells in its own direction of flow.

    Parameters
    ----------
    packings : sequence of Packing
        Same desiccant, `cells`, `heat` and `law`.
    streams : sequence of Stream
        One for each bed; ``ratio`` or ``temperature_k`` None takes what leaves the bed before.
    room_k : float
        Temperature of the room [K].
    """

    def __init__(self, packings: Sequence[Packing], streams: Sequence[Stream], room_k: float = 298.15) -> None:
        first = packings[0]
        if any(
            (p.desiccant, p.cells, p.heat, p.law) != (first.desiccant, first.cells, first.heat, first.law)
            for p in packings
        ):
            raise ValueError("beds in a row need the same desiccant, number of cells, heat balance and law")
        self.beds, self.n = len(packings), first.cells
        self.desiccant, self.room_k = first.desiccant, room_k
        self.isothermal, self.law = first.heat == "isothermal", first.law
        self.streams = tuple(streams)
        flow = [np.broadcast_to(np.asarray(s.flow_kg_s, float), (self.n,)) for s in streams]
        self.flow = np.concatenate(flow)
        self.rate = self.flow / np.repeat([p.cell_kg for p in packings], self.n)
        self.pressure = np.repeat([s.pressure_pa for s in streams], self.n)
        self.capacity = np.repeat([p.capacity for p in packings], self.n)
        kg = np.repeat([p.mass_kg for p in packings], self.n)
        self.cell_kg = kg / self.n
        walled = first.heat == "wall"
        self.to_wall = np.repeat([p.wall_w_k if walled else 0.0 for p in packings], self.n) / kg
        self.to_room = np.repeat([p.loss_w_k for p in packings], self.n) / kg
        self.wall_heat = np.maximum(np.repeat([p.wall_j_k for p in packings], self.n) / kg, 1.0)
        self._set_exchange(packings)
        self.heat_zero = heat_at_reference(self.desiccant)
        self.last = self.first + self.n - 1
        size = self.beds * self.n
        self.band = np.zeros((2, size) if self.isothermal else (4, 2 * size), order="F")
        self.band[0] = 1.0
        self.formed_for_s = 0.0
        self.sloped, self.stepped, self.even_until = True, 0, 0
        self.bead_k = np.empty(0)
        self.right = np.empty((size, 1) if self.isothermal else (2 * size, 1), order="F")
        self.y_face = np.full(size, float(self.inlet_ratio[0]))

    def _set_exchange(self, packings: Sequence[Packing]) -> None:
        water, heat, solid = [], [], []
        for packing, stream in zip(packings, self.streams, strict=True):
            mean = float(np.mean(stream.flow_kg_s))
            mass_1_s, heat_w_m3_k = exchange_rates(packing, mean, stream.pressure_pa, stream.exchange_k)
            volume = packing.length_m * packing.area_m2 / self.n
            density = stream.pressure_pa / (AIR_GAS_CONSTANT_J_KG_K * stream.exchange_k)
            water.append(mass_1_s * density * volume)
            heat.append(heat_w_m3_k * volume / AIR_HEAT_J_KG_K)
            solid.append(packing.solid_rate_1_s * packing.kinetics * packing.cell_kg)
        safe = np.maximum(self.flow, 1e-12)
        self.water_units = np.minimum(np.repeat(water, self.n) / safe, _OPAQUE)
        self.pass_water = np.exp(-self.water_units)
        self.pass_heat = np.exp(-np.minimum(np.repeat(heat, self.n) / safe, _OPAQUE))
        self.solid_units = np.repeat(solid, self.n) / safe
        heat_units = np.minimum(np.repeat(heat, self.n) / safe, _OPAQUE)
        self.tilt = np.array([tilt_of(self.water_units), tilt_of(heat_units)])
        self._inlets()

    def _inlets(self) -> None:
        n = self.n
        self.water_open = np.array([0.0 if s.ratio is not None else 1.0 for s in self.streams])
        self.heat_open = np.array([0.0 if s.temperature_k is not None else 1.0 for s in self.streams])
        self.inlet_ratio = np.array([s.ratio or 0.0 for s in self.streams])
        self.inlet_theta = np.array([(s.temperature_k or REFERENCE_K) - REFERENCE_K for s in self.streams])
        if self.water_open[0] or self.heat_open[0]:
            raise ValueError("the first bed of a row needs an inlet's mixing ratio and temperature")
        self.first = np.arange(self.beds) * n
        starts = [int(i) for i in self.first]
        ratios = [(i, s.ratio) for i, s in zip(starts, self.streams, strict=True) if s.ratio is not None]
        self.wet_inlets = [(i, float(ratio)) for i, ratio in ratios]
        self.given = dict(self.wet_inlets)
        self.heat_inlets = [(i, AIR_HEAT_J_KG_K + VAPOUR_HEAT_J_KG_K * ratio) for i, ratio in self.wet_inlets]
        kelvins = [
            (i, s.temperature_k) for i, s in zip(starts, self.streams, strict=True) if s.temperature_k is not None
        ]
        self.warm_inlets = [(i, float(kelvin) - REFERENCE_K) for i, kelvin in kelvins]

    def march(self, state: BedState, duration_s: float, longest_step_s: float, *, refresh: int = 1) -> Passage:
        """Advance `state`, which holds all beds' cells one after the other, in place.

        Parameters
        ----------
        state : BedState
            Arrays of length ``beds * cells``.
        duration_s, longest_step_s : float
            The duration is cut into equal steps no longer than `longest_step_s`.
        refresh : int
            Steps after which the Jacobian is formed anew; the order does not depend on it, stability of stiff hot beds
            does.

        Returns
        -------
        Passage
        """
        steps = max(1, math.ceil(duration_s / longest_step_s - 1e-9))
        dt = duration_s / steps
        ratio = np.empty((steps, self.beds))
        theta = np.empty((steps, self.beds))
        totals = np.zeros((6, self.beds))
        for i in range(steps):
            self.stepped += 1
            self.sloped = self.sloped or self.stepped >= self.even_until
            if self.isothermal:
                ratio[i], theta[i] = self._isothermal_step(state, dt, totals)
            else:
                ratio[i], theta[i] = self._thermal_advance(state, dt, totals, anew=i % refresh == 0, halvings=0)
        return Passage(ratio, theta + REFERENCE_K, *totals)

    def _equilibrium(self, q: Array, kelvin: Array) -> Array:
        return mixing_ratio(self.desiccant.isotherm.pressure(q / self.capacity, kelvin), self.pressure)

    def _equilibrium_and_steepness(self, q: Array, kelvin: Array) -> tuple[Array, Array, Array]:
        """Y* and its derivatives by loading and by temperature; approximate ones do."""
        p, slope = self.desiccant.isotherm.pressure_and_slope(q / self.capacity, kelvin)
        by_pressure = MASS_RATIO * self.pressure / (self.pressure - np.minimum(p, HIGHEST_SHARE * self.pressure)) ** 2
        heat = self.desiccant.heat_of_adsorption_j_kg / VAPOUR_GAS_CONSTANT_J_KG_K
        by_temperature = by_pressure * np.maximum(p, 0.0) * heat / kelvin**2
        return mixing_ratio(p, self.pressure), by_pressure * slope / self.capacity, by_temperature

    def _passing(self, q: Array, kelvin: Array, star: Array) -> Array:
        """Share of a driving force that passes a cell; for the solid's law from the chord of the isotherm."""
        if self.law == "gas":
            return self.pass_water
        if self.law == "sites":
            held = q / (self.capacity * self.desiccant.isotherm.qs)  # type: ignore[attr-defined]
            return np.exp(-np.clip(self.water_units * (1.0 - held), 0.0, _OPAQUE))
        gas = np.maximum(0.5 * (self.y_face + self._upstream(self.y_face, self.wet_inlets)), 0.0)
        apart = gas - star
        apart = np.where(np.abs(apart) < 1e-9 * (np.abs(gas) + np.abs(star)) + 1e-30, 1e-30, apart)
        filled = self.capacity * self.desiccant.isotherm.loading(vapour_pressure(gas, self.pressure), kelvin)
        chord = np.where(np.abs(apart) <= 1e-30, 0.0, (filled - q) / apart)
        return np.exp(-np.clip(self.solid_units * chord, 0.0, _OPAQUE))

    def _upstream(self, face: Array, inlets: list[tuple[int, float]]) -> Array:
        """The same quantity one face further up; given inlets where a bed does not take what leaves the one before."""
        before = np.empty_like(face)
        before[1:] = face[:-1]
        for start, given in inlets:
            before[start] = given
        return before

    def _isothermal_step(self, state: BedState, dt: float, totals: Array) -> tuple[Array, Array]:
        q, kelvin = state.loading, state.wall_k
        self.bead_k = kelvin
        star, steep, _ = self._equilibrium_and_steepness(q, kelvin)
        y1 = self._isothermal_faces(star, q, steep, self._passing(q, kelvin, star), 0.0, dt)
        k1 = self.rate * (self._upstream(y1, self.wet_inlets) - y1)
        ahead = q + dt * k1
        star2 = self._equilibrium(ahead, kelvin)
        if self.law != "gas":
            self.y_face = y1
        y2 = self._isothermal_faces(star2, ahead, steep, self._passing(ahead, kelvin, star2), 2.0 * k1, dt)
        mean = 0.5 * (y1 + y2)
        before = self._upstream(mean, self.wet_inlets)
        state.loading = q + dt * self.rate * (before - mean)
        self.y_face = y2
        self._count_water(before, mean, dt, totals)
        return mean[self.last], kelvin[self.last] - REFERENCE_K

    def _isothermal_faces(
        self, star: Array, q: Array, steep: Array, passing: Array, offset: Array | float, dt: float
    ) -> Array:
        if self.law == "solid":
            return self._solid_faces(q)
        bend = bend_of(star, q, steep, self.first, self.last)
        star = sharpened(star, self.tilt[0], self.first, self.last, bend)
        weight = (1.0 - passing) * _GAMMA * dt * steep
        below = 1.0 / (1.0 + weight * self.rate)
        through = (passing + weight * self.rate) * below
        self.right[:, 0] = ((1.0 - passing) * star - weight * offset) * below
        self.right[self.first, 0] += through[self.first] * self.inlet_ratio * (1.0 - self.water_open)
        through[self.first] *= self.water_open
        self.band[1, :-1] = -through[1:]
        solved: Array = dtbtrs(self.band, self.right, uplo="L", trans="N", diag="U")[0][:, 0]
        return solved

    def _solid_faces(self, q: Array) -> Array:
        """The solid's own pace is slow: explicit in time, integrated along the bed."""
        faces = np.empty_like(q)
        entering = 0.0
        for bed, (start, stop) in enumerate(zip(self.first, self.last + 1, strict=True)):
            entering = self.inlet_ratio[bed] if not self.water_open[bed] else entering
            faces[start:stop] = solid_sweep(
                self.desiccant.isotherm,
                q[start:stop],
                float(entering),
                float(self.solid_units[start]),
                float(self.pressure[start]),
                float(self.bead_k[start]),
                float(self.capacity[start]),
            )
            entering = faces[stop - 1]
        return faces

    def _count_water(self, before: Array, mean: Array, dt: float, totals: Array) -> None:
        water_in = self.flow[self.first] * before[self.first] * dt
        water_out = self.flow[self.last] * mean[self.last] * dt
        taken = np.add.reduceat(self.flow * (before - mean), self.first) * dt
        totals[0] += water_in
        totals[1] += water_out
        totals[2] += water_in - water_out - taken

    def _warmth(self, q: Array, h: Array) -> tuple[Array, Array]:
        """Temperature above 0 degC and heat capacity [J/kg K] of loading and enthalpy."""
        heat = self.desiccant.specific_heat_j_kg_k + self.desiccant.water_specific_heat_j_kg_k * q
        return (h + self.heat_zero * q) / heat, heat

    def _linearise(self, q: Array, theta: Array, heat: Array, dt: float) -> Array:
        """Form the links from face to face anew; gives the equilibrium on the way."""
        kelvin, rate, gdt = theta + REFERENCE_K, self.rate, _GAMMA * dt
        star, y_q, y_t = self._equilibrium_and_steepness(q, kelvin)
        t_h = 1.0 / heat
        t_q = (self.heat_zero - self.desiccant.water_specific_heat_j_kg_k * theta) * t_h
        self.formed_for_s = dt
        self.passing = passing = self._passing(q, kelvin, star)
        self.gas_heat = gas_heat = AIR_HEAT_J_KG_K + VAPOUR_HEAT_J_KG_K * self.y_face
        self.heat_before = heat_before = self._upstream(gas_heat, self.heat_inlets)
        alpha, beta = (1.0 - passing) * gdt, (1.0 - self.pass_heat) * gdt
        self.ay_q, self.ay_h = alpha * (y_q + y_t * t_q), alpha * y_t * t_h
        self.bt_q, self.bt_h = beta * t_q, beta * t_h
        # A slope held through a step upsets it where the step gives a bead's gas many times over.
        self.gentle = np.array((self.tilt[0] / (1.0 + (_STIFF * self.ay_q * rate) ** 2), self.tilt[1]))
        # [Y, theta] of a face from those of the face before: left @ here = right @ before + known.
        l11, l12 = 1.0 + self.ay_q * rate, self.ay_h * rate * gas_heat
        l21, l22 = self.bt_q * rate, 1.0 + self.bt_h * rate * gas_heat
        r11, r12 = passing + self.ay_q * rate, self.ay_h * rate * heat_before
        r21, r22 = l21, self.pass_heat + self.bt_h * rate * heat_before
        scale = 1.0 / (l11 * l22 - l12 * l21)
        self.i11, self.i12, self.i21, self.i22 = l22 * scale, -l12 * scale, -l21 * scale, l11 * scale
        self.entering = self._close_inlets(
            self.i11 * r11 + self.i12 * r21,
            self.i11 * r12 + self.i12 * r22,
            self.i21 * r11 + self.i22 * r21,
            self.i21 * r12 + self.i22 * r22,
        )
        return star

    def _close_inlets(self, a11: Array, a12: Array, a21: Array, a22: Array) -> tuple[Array, Array]:
        """Move given inlets to the right-hand side and write the links into the band."""
        first = self.first
        ratio, theta = (1.0 - self.water_open) * self.inlet_ratio, (1.0 - self.heat_open) * self.inlet_theta
        entering = (a11[first] * ratio + a12[first] * theta, a21[first] * ratio + a22[first] * theta)
        for link, is_open in ((a11, self.water_open), (a21, self.water_open), (a12, self.heat_open)):
            link[first] *= is_open
        a22[first] *= self.heat_open
        self.band[1, 1:-1:2] = -a12[1:]
        self.band[2, 0:-2:2] = -a11[1:]
        self.band[2, 1:-2:2] = -a22[1:]
        self.band[3, 0:-2:2] = -a21[1:]
        return entering

    def _faces(self, offered: Array, offset_q: Array | float, offset_h: Array | float) -> tuple[Array, Array]:
        """Mixing ratio and temperature of every cell's leaving face, one stage ahead."""
        star, theta = offered
        known_y = (1.0 - self.passing) * star - self.ay_q * offset_q - self.ay_h * offset_h
        known_t = (1.0 - self.pass_heat) * theta - self.bt_q * offset_q - self.bt_h * offset_h
        right = self.right
        right[0::2, 0] = self.i11 * known_y + self.i12 * known_t
        right[1::2, 0] = self.i21 * known_y + self.i22 * known_t
        right[2 * self.first, 0] += self.entering[0]
        right[2 * self.first + 1, 0] += self.entering[1]
        solved = dtbtrs(self.band, right, uplo="L", trans="N", diag="U")[0][:, 0]
        return solved[0::2], solved[1::2]

    def _sharpened(self, star: Array, theta: Array, gentle: Array) -> Array:
        return sharpened(np.array((star, theta)), gentle, self.first, self.last, positive=_WATER_NOT_WARMTH)

    def _changes(self, y: Array, theta: Array) -> tuple[Array, Array, Array, Array]:
        """Rates of loading and enthalpy, and what enters each cell."""
        y_before = self._upstream(y, self.wet_inlets)
        t_before = self._upstream(theta, self.warm_inlets)
        by_gas = self.rate * (self.heat_before * t_before - self.gas_heat * theta)
        return self.rate * (y_before - y), by_gas, y_before, t_before

    def _thermal_advance(
        self, state: BedState, dt: float, totals: Array, *, anew: bool, halvings: int
    ) -> tuple[Array, Array]:
        """One step, in halves where the whole went too far: hot air on a cold bed, the first wet air on a dry one."""
        anew = anew or dt != self.formed_for_s
        done = self._thermal_step(state, dt, totals, anew, self.sloped or halvings < _MOST_HALVINGS)
        if done is None and self.sloped:
            # Even beads are less exact and do not overshoot: they do for some steps.
            self.sloped, self.even_until = False, self.stepped + _EVEN_STEPS
            done = self._thermal_step(state, dt, totals, True, halvings < _MOST_HALVINGS)
        if done is not None:
            return done
        parts = [self._thermal_advance(state, dt / 2.0, totals, anew=True, halvings=halvings + 1) for _ in range(2)]
        return 0.5 * (parts[0][0] + parts[1][0]), 0.5 * (parts[0][1] + parts[1][1])

    def _thermal_step(
        self, state: BedState, dt: float, totals: Array, anew: bool, may_refuse: bool
    ) -> tuple[Array, Array] | None:
        q, h = state.loading, state.enthalpy
        theta, heat = self._warmth(q, h)
        star = self._linearise(q, theta, heat, dt) if anew else self._equilibrium(q, theta + REFERENCE_K)
        gentle = self.gentle if self.sloped else self.gentle * _EVEN_BEADS
        lost1 = self.to_wall * (theta + REFERENCE_K - state.wall_k)
        first = self._faces(self._sharpened(star, theta, gentle), 0.0, lost1)
        k_q, k_h, _, _ = self._changes(*first)
        k_h = k_h - lost1
        q2 = q + dt * k_q
        theta2, _ = self._warmth(q2, h + dt * k_h)
        room1 = self.to_room * (state.wall_k - self.room_k)
        wall2 = state.wall_k + dt * (lost1 - room1) / self.wall_heat
        lost2 = self.to_wall * (theta2 + REFERENCE_K - wall2)
        star2 = np.maximum(self._equilibrium(q2, theta2 + REFERENCE_K), 0.0)
        second = self._faces(self._sharpened(star2, theta2, gentle), 2.0 * k_q, lost2 + 2.0 * k_h)
        # Both stages' changes are linear in the faces, so their mean comes from the faces' mean.
        mean, warm = 0.5 * (first[0] + second[0]), 0.5 * (first[1] + second[1])
        if may_refuse and self._too_dry(mean):
            return None
        mean = given_at_most(mean, self._upstream(mean, self.wet_inlets), q, dt * self.rate, self.given)
        m_q, m_h, y_before, t_before = self._changes(mean, warm)
        lost = 0.5 * (lost1 + lost2)
        loading, enthalpy = q + dt * m_q, h + dt * (m_h - lost)
        if may_refuse and self._too_far(loading, q2, self._warmth(loading, enthalpy)[0] - theta2):
            return None
        state.loading, state.enthalpy = loading, enthalpy
        room = 0.5 * (room1 + self.to_room * (wall2 - self.room_k))
        state.wall_k = state.wall_k + dt * (lost - room) / self.wall_heat
        self._count_water(y_before, mean, dt, totals)
        totals[3] += (self.flow * self.heat_before * t_before)[self.first] * dt
        totals[4] += (self.flow * self.gas_heat * warm)[self.last] * dt
        totals[5] += np.add.reduceat(lost * self.cell_kg, self.first) * dt
        self.y_face = np.maximum(mean, 0.0)
        return mean[self.last], warm[self.last]

    def _too_dry(self, faces: Array) -> bool:
        """Whether faces fall so far short of dry that limiting them would move more than a trace of water.

        The first bed's air is what leaves the dryer and is wanted to parts in ten million; in a bed that is purged a
        face may fall short of dry by a share of what the wettest carries.
        """
        return bool(
            faces[: self.n].min() < -_DRIER_THAN_DRY or faces.min() < -_DRIER_THAN_DRY - _SHARE_OF_WETTEST * faces.max()
        )

    def _too_far(self, loading: Array, ahead: Array, warmer: Array) -> bool:
        """Whether the second order's answer is far from the first order's."""
        return bool(np.abs(loading - ahead).max() > _FARTHEST_LOADING or not np.abs(warmer).max() < _FARTHEST_K)
