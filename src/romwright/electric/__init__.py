"""Levels, loads and supplies: whether what is wired right is also driven, fed and measured right."""
