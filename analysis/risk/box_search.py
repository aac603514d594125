"""The search for the largest box in which no place is known to fail.

Peeling: of all places that fail the one deepest in the box is cut off, by the side that loses the
least room for each place that goes, until none is left; then sides grow back as far as they may.
The box is tried on evenly spread places inside, on faces, edges and corners; what fails joins the
places, and the box is peeled anew. Where that does not end, a box grows from what must be kept
towards the peeled one and then side by side, every growth tried. Last, descents look for the lowest
probability in it.

Source:
    Friedman and Fisher (1999), Statistics and Computing 9, 123-143, for peeling and pasting, from
    memory; cutting and trying in turn is our own.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import qmc

from analysis.risk.box_frame import BoxFrame, BoxGround, held_by_plant, is_log_spaced
from analysis.risk.draws import Estimate
from analysis.surface.lines import inside_region
from doe.study.settings import BoolArray, FloatArray

# Points that the first box is cut from, and that every box is tried on; peelings from each.
FIRST, TRIED, PEELINGS, ROUNDS = 512, 256, 12, 2
# Of the places of a box so many, the least probable, are told with all draws.
TOLD = 12
# Parts of what the plant holds that a box is asked to leave to both sides of the choice.
KEPT = (1.0, 0.5, 0.25)
# Growth: halvings of each way, passes over all sides, and a way that is worth going, in ranges.
GROWTH, PASSES, WORTH = 4, 2, 1e-3
# What is left of a box that is drawn in.
SMALLER = 0.8
# Failing places whose way from the choice is looked at, corners first, and how exactly.
MET, HALVINGS = 32, 5
# Places that each such room is tried on.
FEW = 32
# What stands for it where the brief states nothing: a part of the range.
HELD_ELSE = 0.02
# Corners up to so many sides are all tried; of more, as many by chance.
ALL_CORNERS = 8
# A box narrower than this part of the range is a point.
NOTHING = 1e-6
# Descents to the lowest probability: from the worst points, so many steps of shrinking reach.
DESCENTS, DESCENT_STEPS = 3, 8


class BoxSearch:
    """The points where the level is known to fail, and the largest box without one."""

    def __init__(self, ground: BoxGround, frame: BoxFrame, level: float) -> None:
        self.ground, self.frame, self.wanted = ground, frame, level
        self.rng = np.random.default_rng(ground.seed)
        self.bad = np.zeros((0, len(frame.columns)))
        self.kept = np.zeros((2, len(frame.columns)))
        # Few draws are off by much the same everywhere: by what they are off at the choice.
        row = frame.around[None, :]
        off = float((ground.chance.probability(row) - ground.fine.probability(row))[0])
        self.level = level + off

    def run(self) -> FloatArray:
        """Find the box, shape (2, d): peeled and tried in turn, then grown from what is kept."""
        self._keep_what_is_held()
        whole = np.stack([self.frame.low, self.frame.high])
        self._note(self._points(whole, FIRST))
        aim = self._peel()
        for _ in range(ROUNDS):
            if not self._note(self._points(aim, TRIED)):
                return aim
            aim = self._peel()
        return self._grown_towards(aim)

    def drawn_in(self, ends: FloatArray) -> FloatArray:
        """Draw a box in towards what is kept; what is kept as well once that is reached."""
        inner = self.kept + SMALLER * (ends - self.kept)
        if np.abs(inner - self.kept).max() > WORTH:
            return inner
        self.kept = SMALLER * self.kept
        return self.kept

    def _grown_towards(self, aim: FloatArray) -> FloatArray:
        """Grow from what is kept: all sides towards an aim, then each by itself, always tried."""
        here = self._furthest(self.kept, aim)
        for _ in range(PASSES):
            before = here
            # Where a side can still gain most comes first.
            reach = np.stack([self.frame.low, self.frame.high])
            gain = np.abs(reach - here) / np.maximum(here[1] - here[0], WORTH)
            for place in np.argsort(-gain, axis=None, kind="stable"):
                side, j = divmod(int(place), here.shape[1])
                if abs(reach[side, j] - here[side, j]) > WORTH:
                    here = self._furthest(here, self._reach(here, side, j))
            if np.abs(here - before).max() <= WORTH:
                break
        return here

    def _furthest(self, here: FloatArray, aim: FloatArray) -> FloatArray:
        """Go from one box towards another as far as tries show nothing that fails."""
        low, high = 0.0, 1.0
        for step in range(GROWTH):
            part = 1.0 if step == 0 else (low + high) / 2.0
            trial = here + part * (aim - here)
            if _within(self.bad, trial).any() or self._note(self._points(trial, FEW), way=False):
                high = part
            else:
                low = part
            if low == 1.0:
                break
        return here + low * (aim - here)

    def _reach(self, ends: FloatArray, side: int, j: int) -> FloatArray:
        """Move one side out as far as no place that is known to fail comes in."""
        wide = ends.copy()
        wide[side, j] = (self.frame.low, self.frame.high)[side][j]
        met = self.bad[_within(self.bad, wide)][:, j]
        if len(met):
            nearest = float(met.min() if side else met.max())
            wide[side, j] = max(nearest, ends[1, j]) if side else min(nearest, ends[0, j])
            # Just short of the place.
            wide[side, j] -= (wide[side, j] - ends[side, j]) * NOTHING
        return wide

    def _keep_what_is_held(self) -> None:
        """Keep room for what the plant holds, or a part of it, on as many sides as there is room.

        Setting by setting: on both sides of the choice, else on one.
        """
        for i in range(len(self.frame.columns)):
            held = self._held(i)
            for sides in ((0, 1), (0,), (1,)):
                if any(self.kept[side, i] != 0.0 for side in (0, 1)):
                    break
                for size in held:
                    if self._kept_with(i, sides, size):
                        break

    def _kept_with(self, i: int, sides: tuple[int, ...], size: float) -> bool:
        """Try to keep room for one setting beside what is kept; tell whether that holds."""
        ends = self.kept.copy()
        for side in sides:
            room = (self.frame.low[i], self.frame.high[i])[side]
            ends[side, i] = (max(-size, room), min(size, room))[side]
        if self._fails(self._points(ends, FEW)).any():
            return False
        self.kept = ends
        return True

    def _held(self, i: int) -> tuple[float, ...]:
        """Give what the plant holds and parts of it, in ranges, a step at least, largest first."""
        j = self.frame.columns[i]
        axis, at = self.frame.coding.axes[j], float(self.frame.around[j])
        per_lab = 1.0 / float(self.frame.span[i])
        if is_log_spaced(self.frame.coding, j):
            per_lab /= at
        step = (getattr(axis, "step", None) or 0.0) * per_lab * (1.0 + NOTHING)
        held = held_by_plant(self.ground.scatter, j, at)
        wide = held * per_lab if held is not None else HELD_ELSE
        return tuple(sorted({max(part * wide, step) for part in KEPT}, reverse=True))

    def verify(self, ends: FloatArray) -> tuple[Estimate, FloatArray, int]:
        """Try a box: lowest probability with its error, where, and at how many places.

        Where some place lies outside the region the lowest is 0. Places that fail are remembered.
        """
        u = self._points(ends, TRIED)
        settings = self.frame.settings(u)
        outside = ~inside_region(self.ground.region, settings, self.ground.noise)
        if outside.any():
            i = int(np.flatnonzero(outside)[0])
            self._note(u[outside], way=False)
            return Estimate(value=0.0, error=0.0), self._raw(u[i]), len(u)
        found = self.ground.chance.probability(settings)
        tried = len(u)
        worst = u[np.argsort(found, kind="stable")[:DESCENTS]]
        for step in 0.25 * 0.5 ** np.arange(DESCENT_STEPS):
            # Each moves along every side by a part of the box, and stays where none is lower.
            moves = (
                step * (ends[1] - ends[0]) * np.vstack([np.eye(u.shape[1]), -np.eye(u.shape[1])])
            )
            around = np.clip(worst[:, None, :] + moves[None, :, :], ends[0], ends[1])
            every = np.concatenate([worst[:, None, :], around], axis=1)
            flat = every.reshape(-1, u.shape[1])
            chance = self.ground.chance.probability(self.frame.settings(flat))
            lowest = chance.reshape(len(worst), -1).argmin(axis=1)
            worst = every[np.arange(len(worst)), lowest]
            tried += len(flat)
        # What few draws order is told by many.
        last = np.vstack([worst, u[np.argsort(found, kind="stable")[:TOLD]]])
        exact = self.ground.fine.probability(self.frame.settings(last))
        lowest_of_all = last[int(np.argmin(exact))]
        told = self.ground.fine.estimate(self.frame.settings(lowest_of_all[None, :])[0])
        failed = np.vstack([u[found < self.level], last[exact < self.wanted]])
        self.bad = np.vstack([self.bad, failed[np.abs(failed).max(axis=1) > NOTHING]])
        return told, self._raw(lowest_of_all), tried

    def _raw(self, u: FloatArray) -> FloatArray:
        """Give the settings of a place before additives make room, shape (k,)."""
        row = self.frame.around.copy()
        row[list(self.frame.columns)] = self.frame.lab(np.tile(u, (2, 1)))[0]
        return row

    def _note(self, u: FloatArray, *, way: bool = True) -> bool:
        """Try places, shape (n, d); keep those that fail, and tell whether any did.

        With `way`, beside each that fails the first that fails on the way to it from the choice is
        kept: a cut there goes deep enough to matter.
        """
        failed = u[self._fails(u)]
        # The choice itself holds: what lies on it to rounding is no reason to cut.
        failed = failed[np.abs(failed).max(axis=1, initial=0.0) > NOTHING]
        if not len(failed):
            return False
        self.bad = np.vstack([self.bad, failed])
        if not way:
            return True
        some = failed[-MET:] if len(failed) > MET else failed
        first = self._first_on_the_way(some)
        first = first[np.abs(first).max(axis=1) > NOTHING]
        self.bad = np.vstack([self.bad, first])
        return True

    def _fails(self, u: FloatArray) -> BoolArray:
        """Tell which places, shape (n, d), lie outside the region or below the level."""
        settings = self.frame.settings(u)
        inside = inside_region(self.ground.region, settings, self.ground.noise)
        failed: BoolArray = ~inside
        failed[inside] = self.ground.chance.probability(settings[inside]) < self.level
        return failed

    def _first_on_the_way(self, u: FloatArray) -> FloatArray:
        """Halve the way from the choice to places that fail until the first that fails is known."""
        low, high = np.zeros(len(u)), np.ones(len(u))
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            failed = self._fails(middle[:, None] * u)
            low, high = np.where(failed, low, middle), np.where(failed, middle, high)
        return high[:, None] * u

    def _points(self, ends: FloatArray, n: int) -> FloatArray:
        """Lay places over a box: inside, on its faces and edges, at its corners, shape (m, d)."""
        d = ends.shape[1]
        sobol = qmc.Sobol(d, scramble=True, rng=self.rng)
        inside = sobol.random(n)
        faces = sobol.random(n)
        # A place is on the faces of some sides: of one side mostly, of all in corners.
        part = 1.0 / max(d, 2) + 0.5 * self.rng.random((n, 1))
        faces = np.where(self.rng.random((n, d)) < part, np.round(faces), faces)
        if d <= ALL_CORNERS:
            corners = np.array(np.meshgrid(*[[0.0, 1.0]] * d)).reshape(d, -1).T
        else:
            corners = np.round(self.rng.random((2**ALL_CORNERS, d)))
        unit = np.vstack([inside, faces, corners])
        found: FloatArray = ends[0] + unit * (ends[1] - ends[0])
        return found

    def _peel(self) -> FloatArray:
        """Give the largest box without a place that fails, shape (2, d)."""
        greedy = [0.0] + [1.0] * (PEELINGS - 1)
        found = [self._peeled(noise) for noise in greedy]
        return max(found, key=_size)

    def _peeled(self, noise: float) -> FloatArray:
        ends = np.stack([self.frame.low, self.frame.high])
        bad = self.bad
        while len(bad):
            width = np.maximum(ends[1] - ends[0], 1e-12)
            # The place that sits deepest in the box is cut off, by the side that costs least.
            with np.errstate(divide="ignore", invalid="ignore"):
                deep = np.where(bad > 0.0, bad / ends[1], np.where(bad < 0.0, bad / ends[0], 0.0))
            deep = np.nan_to_num(deep, nan=0.0, posinf=0.0, neginf=0.0)
            pick = int(np.argmin(deep.max(axis=1)))
            point = bad[pick]
            up = point > 0.0
            left = np.where(up, point - ends[0], ends[1] - point)
            cost = -np.log(np.clip(left / width, 1e-12, 1.0))
            spared = np.where(up, point <= self.kept[1] + NOTHING, point >= self.kept[0] - NOTHING)
            cost = np.where(spared, np.inf, cost)
            gone = np.where(up, bad >= point, bad <= point).sum(axis=0)
            price = cost / gone * np.exp(noise * self.rng.standard_normal(len(point)))
            j = int(np.argmin(price))
            if not np.isfinite(price[j]):
                # Some place of what was to be kept fails after all: then nothing is kept.
                self.kept = np.zeros_like(self.kept)
                return self._peeled(noise) if np.abs(point).max() > NOTHING else 0.0 * ends
            # Just short of the place: half way would forget that it failed.
            ends[int(up[j]), j] = point[j] * (1.0 - 1e-6)
            bad = bad[_within(bad, ends)]
        return self._grown(ends)

    def _grown(self, ends: FloatArray) -> FloatArray:
        """Let each side go out as far as no place that fails comes in, in a chance order."""
        for j in self.rng.permutation(ends.shape[1]):
            for side in (0, 1):
                ends = self._reach(ends, side, int(j))
        return ends


def _within(u: FloatArray, ends: FloatArray) -> BoolArray:
    inside: BoolArray = np.all((u >= ends[0]) & (u <= ends[1]), axis=1)
    return inside


def _size(ends: FloatArray) -> float:
    """Give the product of the widths as a logarithm; a side without width counts as very narrow."""
    return float(np.log(np.maximum(ends[1] - ends[0], 1e-3)).sum())
