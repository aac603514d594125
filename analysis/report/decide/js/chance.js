// Distributions: quantiles and tails as exact as double precision allows, without tables.

// Above these degrees of freedom t is expanded about the normal; the terms left out are below 1e-15.
const MANY_DF = 1e4;
// Above these it is the normal itself.
const ENDLESS_DF = 1e15;

/** Γ(a + ½) / Γ(a): Stirling's series for large a, brought down by its recurrence. */
function gammaRatio(a) {
  let factor = 1;
  while (a < 30) {
    factor *= a / (a + 0.5);
    a += 1;
  }
  const s = 1 / (a * a);
  const series =
    (-1 / 8 + s * (1 / 192 + s * (-1 / 640 + s * (17 / 14336 - (s * 31) / 18432)))) / a;
  return factor * Math.sqrt(a) * Math.exp(series);
}

/** Continued fraction of the incomplete beta function (Lentz); for x below (a + 1) / (a + b + 2). */
function betaFraction(x, a, b) {
  const tiny = 1e-300;
  let c = 1;
  let d = 1 / (1 - ((a + b) * x) / (a + 1) || tiny);
  let h = d;
  for (let m = 1; m < 1e5; m += 1) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / (1 + even * d || tiny);
    c = 1 + even / c || tiny;
    h *= d * c;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / (1 + odd * d || tiny);
    c = 1 + odd / c || tiny;
    h *= d * c;
    if (Math.abs(d * c - 1) < 1e-16) break;
  }
  return h;
}

/** ln of the density of t. */
function tLogDensity(t, df) {
  const front = gammaRatio(df / 2) / Math.sqrt(df * Math.PI);
  return Math.log(front) - ((df + 1) / 2) * Math.log1p((t * t) / df);
}

/** Chance that t is above a positive value. */
function tUpperTail(t, df) {
  if (df > ENDLESS_DF) return normalUpperTail(t);
  const a = df / 2;
  const x = df / (df + t * t);
  // x^a (1 − x)^½ / B(a, ½), with B(a, ½) = Γ(a) Γ(½) / Γ(a + ½).
  const front =
    Math.exp(-a * Math.log1p((t * t) / df)) *
    (t / Math.sqrt(df + t * t)) *
    (gammaRatio(a) / Math.sqrt(Math.PI));
  if (x < (a + 1) / (a + 2.5)) return (0.5 * front * betaFraction(x, a, 0.5)) / a;
  return 0.5 - front * betaFraction((t * t) / (df + t * t), 0.5, a);
}

/** Chance that t with these degrees of freedom is at most a value; NaN where there are none. */
function tBelow(t, df) {
  if (Number.isNaN(t) || !(df > 0)) return NaN;
  if (t === 0) return 0.5;
  if (!Number.isFinite(t)) return t > 0 ? 1 : 0;
  return t > 0 ? 1 - tUpperTail(t, df) : tUpperTail(-t, df);
}

/** The value that t exceeds with chance q < ½; z is the same of the normal. */
function tQuantile(q, df, z) {
  if (!(df > 0)) return NaN;
  if (df > ENDLESS_DF) return z;
  const z2 = z * z;
  // Abramowitz and Stegun (1964), 26.7.5.
  const g1 = (z2 + 1) / 4;
  const g2 = ((5 * z2 + 16) * z2 + 3) / 96;
  const g3 = (((3 * z2 + 19) * z2 + 17) * z2 - 15) / 384;
  const g4 = ((((79 * z2 + 776) * z2 + 1482) * z2 - 1920) * z2 - 945) / 92160;
  const expanded = z * (1 + (g1 + (g2 + (g3 + g4 / df) / df) / df) / df);
  if (df > MANY_DF) return expanded;
  let t = df > 3 ? expanded : z * Math.pow(2, 2 / df);
  for (let i = 0; i < 200; i += 1) {
    // Newton on the logarithms of tail and t, where the tail is nearly a straight line.
    const tail = tUpperTail(t, df);
    const slope = (Math.exp(tLogDensity(t, df)) * t) / tail;
    const move = Math.log(tail / q) / slope;
    t *= Math.exp(Math.max(-2, Math.min(2, move)));
    if (Math.abs(move) < 1e-15) break;
  }
  return t;
}

/** Chance that a standard normal is above x ≥ 0; a series near 0, a continued fraction beyond. */
function normalUpperTail(x) {
  const density = Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
  if (x < 3) {
    let term = x;
    let sum = x;
    for (let k = 1; k < 200 && term > 1e-18 * sum; k += 1) {
      term *= (x * x) / (2 * k + 1);
      sum += term;
    }
    return 0.5 - density * sum;
  }
  let fraction = x;
  for (let k = 120; k > 0; k -= 1) fraction = x + k / fraction;
  return density / fraction;
}

/** Walk up the chances of a negative binomial of mean and 1/r; `visit` gets k and its chance. */
function walkCounts(mean, r, visit) {
  const q = mean / (r + mean);
  let logChance = -r * Math.log1p(mean / r);
  for (let k = 0; k < 1e6; k += 1) {
    if (visit(k, Math.exp(logChance)) === false) return;
    logChance += Math.log((k + r) / (k + 1)) + Math.log(q);
  }
}

/** The least count whose chance not to be exceeded is q or more. */
function countQuantile(q, mean, r) {
  if (!(mean > 0) || !(r > 0)) return NaN;
  let below = 0;
  let found = NaN;
  walkCounts(mean, r, (k, chance) => {
    below += chance;
    found = k;
    return below < q;
  });
  return found;
}

/** Chance of at most so many counts. */
function countBelow(count, mean, r) {
  if (!(count >= 0)) return count < 0 ? 0 : NaN;
  let below = 0;
  walkCounts(mean, r, (k, chance) => {
    if (k > count) return false;
    below += chance;
    return true;
  });
  return Math.min(1, below);
}
