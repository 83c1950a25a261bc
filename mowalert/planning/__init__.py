"""Crew routes: who goes where and in which order, solved by a library."""
