"""From messages to durable, judged, acknowledged readings: the loop of the service and its parts.

`loop` runs it; `sorting` makes readings of messages, with the help of `arrivals` (times given to payloads
without one) and `crossings` (what does not wait); `batch` and `judging` feed the engine; `unstored` rings
while the store refuses; `neighbours` says what the loop needs of the parts outside.
"""

from collector.intake.arrivals import Arrivals
from collector.intake.asking import Asking
from collector.intake.batch import Entry
from collector.intake.crossings import Crossings
from collector.intake.judging import Judge, Judged
from collector.intake.last_messages import LastMessages
from collector.intake.loop import Intake
from collector.intake.neighbours import LineState, Telling
from collector.intake.published import request_topic
from collector.intake.sorting import Sorter
from collector.intake.unstored import UnstoredMessages

__all__ = [
    "Arrivals",
    "Asking",
    "Crossings",
    "Entry",
    "Intake",
    "Judge",
    "Judged",
    "LastMessages",
    "LineState",
    "Sorter",
    "Telling",
    "UnstoredMessages",
    "request_topic",
]
