// Forms: a factor's axis bent by a curve whose shape was estimated with the model. Each gives the
// bent axis u and its slopes along the shape; the same formulas as the fit uses.

const BENDS = {
  "first order": (t, low, high, [k]) => {
    const [r, x] = [high - low, t - low];
    const [done, whole] = [-Math.expm1(-k * x), -Math.expm1(-k * r)];
    const byK = (2 * (x * Math.exp(-k * x) * whole - done * r * Math.exp(-k * r))) / whole ** 2;
    return { value: (2 * done) / whole - 1, byShape: [byK] };
  },
  coverage: (t, low, high, [K]) => {
    const [r, x, room] = [high - low, t - low, 1 + K * t];
    return {
      value: (((2 * x) / r) * (1 + K * high)) / room - 1,
      byShape: [(2 * x * (high - t)) / (r * room ** 2)],
    };
  },
  "two lines": (t, low, high, [at, rho]) => {
    const [x, d] = [Math.log(t), Math.log(at)];
    const reach = d - Math.log(low);
    const above = x > d ? 1 : 0;
    const side = rho * above - (1 - above);
    const gap = side * (x - d);
    return {
      value: 1 - (2 * gap) / reach,
      byShape: [((2 / at) * (side * reach + gap)) / reach ** 2, (-2 * above * (x - d)) / reach],
    };
  },
  plateau: (t, low, high, shape) => {
    const both = BENDS["two lines"](t, low, high, [...shape, 0]);
    return { value: both.value, byShape: both.byShape.slice(0, 1) };
  },
  parabola: (t, low, high, [at]) => {
    const half = Math.log(high / low) / 2;
    const w = (Math.log(t) - Math.log(at)) / half;
    return { value: w ** 2, byShape: [(-2 * w) / (half * at)] };
  },
};

/** Bend one setting, lab unit. */
function bentAt(bend, t) {
  return BENDS[bend.form](t, bend.low, bend.high, bend.shape);
}
