"""The process that sends: `python -m collector.sending`, and what the service shares with it.

It alone holds apprise, and nothing of the engine: neither `rules` nor numpy is imported here.
"""
