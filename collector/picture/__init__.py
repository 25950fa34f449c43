"""The picture of the last hours that goes with a ring.

`gathering` makes a `Sketch` of what the service knows: places, texts, no pixels. `drawing` turns it into a
PNG with Pillow, which only a process of its own loads (`python -m collector.picture`); `process` starts that
one and ends it when it takes too long.
"""
