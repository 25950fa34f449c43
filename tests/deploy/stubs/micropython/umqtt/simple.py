"""Stands in for the library of that name: prints what is done at the broker, which is lost once."""

import json


def say(*words):
    print(json.dumps(words), flush=True)


class MQTTClient:
    publications = 0

    def __init__(self, client_id, server, port=0, user=None, password=None, keepalive=0):
        say("client", client_id, user, keepalive)

    def set_last_will(self, topic, message, retain=False, qos=0):
        say("will", topic, message.decode(), retain, qos)

    def connect(self, clean_session=True, timeout=None):
        say("connect")

    def publish(self, topic, message, retain=False, qos=0):
        MQTTClient.publications += 1
        if MQTTClient.publications == 4:
            say("lost")
            raise OSError(104)
        say("publish", topic, message if isinstance(message, str) else message.decode(), retain, qos)
