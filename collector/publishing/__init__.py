"""What Brinebell publishes for others: states of alarms, incidents, quality, the usual band, the sounder.

Retained messages under topics of our own, so that a display, a sounder or another system can act on them;
Brinebell itself switches nothing.
"""

from collector.publishing.answers import AnswerPublisher
from collector.publishing.publisher import Publisher
from collector.publishing.topics import TOPICS, Topic

__all__ = ["TOPICS", "AnswerPublisher", "Publisher", "Topic"]
