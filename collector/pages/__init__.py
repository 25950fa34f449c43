"""The pages: what the tank is doing now, what happened, and how a series went; served on this machine."""

from collector.pages.application import create_application
from collector.pages.asking import Answers
from collector.pages.record import BrokerState, Record
from collector.pages.server import PagesServer, serve_in_thread

__all__ = ["Answers", "BrokerState", "PagesServer", "Record", "create_application", "serve_in_thread"]
