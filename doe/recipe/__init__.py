"""From settings to grams: dosing, weigh-outs, water balance."""
