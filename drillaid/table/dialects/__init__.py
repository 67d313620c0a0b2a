"""Data only: the controller dialects that come with the program."""
