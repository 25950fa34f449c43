"""Errors say whose turn it is: the operator's, the probe's, or the world's."""

from __future__ import annotations


class BrinebellError(Exception):
    """Base of all errors that are not bugs of ours; the command line prints them as one line."""


class ConfigError(BrinebellError):
    """The operator edits a file: the message gives key, value and what would be right."""


class PayloadError(BrinebellError):
    """A probe sent something that cannot be read: it is counted, explained once, and kept as a sample."""


class StoreError(BrinebellError):
    """The disk or the database refused: the same commit is tried again."""


class DiskError(StoreError):
    """The disk is full or fails: it is waited for, and people are told."""


class DeliveryError(BrinebellError):
    """A channel did not take a message: it is tried again."""


class BrokerError(BrinebellError):
    """The MQTT broker refused or cannot be reached: the session connects again."""


class DatabaseError(BrinebellError):
    """The time-series database refused or cannot be reached: what it lacks is sent again, or asked again."""
