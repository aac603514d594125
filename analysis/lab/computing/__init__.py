"""From raw readings to responses: the arithmetic of each test method, family by family."""
