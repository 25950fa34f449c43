"""The broker in Python, as a program of its own: `python -m collector.demo.python_broker PORT`.

For machines without mosquitto. It speaks MQTT 3.1.1 on the loopback address only, refuses MQTT 5, and
keeps persistent sessions only for clients that give a user name, which is why it asks for one. It ends
when its standard input does, so that it never outlives the demo that started it.
"""

from __future__ import annotations

import asyncio
import signal
import sys

from amqtt.broker import Broker


async def serve(host: str, port: int) -> None:
    """Serve until standard input ends."""
    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"{host}:{port}"}},
            # Any user name will do on the loopback address, but there must be one.
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": False}},
        }
    )
    await broker.start()
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.buffer.read)
    await broker.shutdown()


if __name__ == "__main__":
    # Ctrl-C in a terminal reaches every process; this one waits until it is told.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    asyncio.run(serve(sys.argv[1], int(sys.argv[2])))
