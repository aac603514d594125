"""The interactive page: a recipe card that answers when a setting is moved, one file, offline."""
