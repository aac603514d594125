"""Forms of one factor (kinetics, demand curves) as alternatives to a polynomial."""
