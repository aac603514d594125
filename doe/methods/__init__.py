"""What each test method is: unit, direction, scale, the unit of the plan it belongs to."""
