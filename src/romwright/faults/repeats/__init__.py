"""Repeated reads of one chip: which agree, what each bit is by the majority, how sure that is."""
