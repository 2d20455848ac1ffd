"""The local page: a server for one person on this machine, and the page it serves."""
