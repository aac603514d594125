"""What a study is: the brief, the plan, the readings, and the folder that holds them."""
