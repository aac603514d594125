// Scales: from the response's unit to the form that was fitted, and back (Box and Cox 1964).

/** Take a value to the fitted scale; an end of the scale gives an infinity. */
function toScale(scale, y) {
  const isLog = scale.name === "log" || (scale.name === "power" && scale.power === 0);
  if (isLog) return Math.log(y);
  if (scale.name === "square root") return Math.sqrt(y);
  if (scale.name === "logit") return Math.log((y - scale.bounds[0]) / (scale.bounds[1] - y));
  if (scale.name === "power") return Math.expm1(scale.power * Math.log(y)) / scale.power;
  return y;
}

/** Take a value of the fitted scale back; beyond the end of a scale the end is given. */
function fromScale(scale, z) {
  const isLog = scale.name === "log" || (scale.name === "power" && scale.power === 0);
  if (isLog) return Math.exp(z);
  if (scale.name === "square root") return Math.max(z, 0) ** 2;
  if (scale.name === "logit") {
    const [low, high] = scale.bounds;
    return low + (high - low) / (1 + Math.exp(-z));
  }
  if (scale.name === "power") return Math.max(scale.power * z + 1, 0) ** (1 / scale.power);
  return z;
}

/** ln |dz/dy| at a value. */
function logSlope(scale, y) {
  if (scale.name === "log") return -Math.log(y);
  if (scale.name === "square root") return -Math.log(2) - 0.5 * Math.log(y);
  if (scale.name === "logit") {
    const [low, high] = scale.bounds;
    return Math.log((high - low) / ((y - low) * (high - y)));
  }
  if (scale.name === "power") return (scale.power - 1) * Math.log(y);
  return 0;
}

/** Where a limit lies on the fitted scale; a limit that no value can pass lies at its end. */
function limitOnScale(scale, limit) {
  if (scale.name === "logit") {
    if (limit <= scale.bounds[0]) return -Infinity;
    if (limit >= scale.bounds[1]) return Infinity;
  } else if (scale.name !== "identity" && limit <= 0) {
    return limit < 0 || scale.name !== "square root" ? -Infinity : 0;
  }
  return toScale(scale, limit);
}
