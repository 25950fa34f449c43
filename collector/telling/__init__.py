"""Who is told what, and when: alarms become messages, answers take them back.

Nothing here has a clock, a store or a channel: time and what people say come in, and what is to be
recorded and sent goes out.
"""

from collector.telling.answering import Answering
from collector.telling.desk import Changes, Desk
from collector.telling.letters import RINGS
from collector.telling.lives import Lives
from collector.telling.people import Person, people_of, present
from collector.telling.restart import restored_desk

__all__ = [
    "RINGS",
    "Answering",
    "Changes",
    "Desk",
    "Lives",
    "Person",
    "people_of",
    "present",
    "restored_desk",
]
