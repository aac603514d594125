// Grams: what is weighed for one batch and for one sample of it, as supplied.

/** What stands for an additive at a row: its name, and grams for each gram of active matter. */
function dosedAt(additive, row) {
  const level = additive.choice === null ? 0 : row[additive.choice];
  return { name: additive.names[level], active: additive.active[level] };
}

/** The lines of the package on so much pigment; none where nothing is dosed. */
function additiveLines(recipe, row, pigmentGrams) {
  const given = recipe.dose === null ? recipe.heldDose : row[recipe.dose];
  const dose = Number.isNaN(given) ? 0 : given;
  return recipe.additives
    .map((additive) => {
      const { name, active } = dosedAt(additive, row);
      const share = additive.share === null ? 1 : row[additive.share];
      const activeGrams = ((pigmentGrams * dose) / 100) * share;
      return { name, kind: "additive", grams: activeGrams / active, activeGrams };
    })
    .filter((line, i) => recipe.additives[i].share !== null || dose > 0);
}

/** Titrations at a row: what is set to what value with what. */
function titrationsAt(data, row) {
  return data.recipe.titrated
    .map((one) => ({
      factor: one.factor,
      unit: one.unit,
      inBatch: one.inBatch,
      target: one.axis === null ? one.value : row[one.axis],
      titrant: one.choice === null ? one.titrant : data.axes[one.choice].levels[row[one.choice]],
    }))
    .filter((one) => typeof one.target === "number" && !Number.isNaN(one.target));
}

/** The weigh-out of one batch, in order of addition: balance, package, ingredients, pigment. */
function batchAt(data, row) {
  const recipe = data.recipe;
  const additives = recipe.inSample ? [] : additiveLines(recipe, row, recipe.pigment.grams);
  const ingredients = recipe.ingredients.map((one) => ({ ...one, kind: "ingredient" }));
  const pigment = { ...recipe.pigment, kind: "pigment" };
  const lines = [...additives, ...ingredients, pigment];
  const balance = recipe.batch - lines.reduce((sum, line) => sum + line.grams, 0);
  const grams = balance < 0 && balance >= -1e-9 ? 0 : balance;
  const titrations = titrationsAt(data, row).filter((one) => one.inBatch);
  const [ofBatch, ofBalance] = recipe.heldBack;
  return {
    grams: recipe.batch,
    hasRoom: balance >= -1e-9,
    lines: [{ name: recipe.balance, kind: "balance", grams }, ...lines],
    titrations,
    heldBack: titrations.length ? Math.min(ofBatch * recipe.batch, ofBalance * grams) : 0,
  };
}

/** The weigh-out of one sample: mill base, what is set per sample, let-down; and the reduction. */
function sampleAt(data, row) {
  const recipe = data.recipe;
  const added = recipe.inSample ? additiveLines(recipe, row, recipe.samplePigment) : [];
  const [millbase, ...rest] = recipe.letdown;
  return {
    letdown: millbase ? [millbase, ...added, ...rest] : [],
    tint: recipe.tint,
    titrations: titrationsAt(data, row).filter((one) => !one.inBatch),
  };
}
