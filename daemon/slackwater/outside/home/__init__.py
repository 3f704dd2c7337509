"""Home automation: the tanks and pumps as devices it finds by itself.

Floor 6. One subject: the doors of this package. Laws here: nothing in it publishes;
no entity can do anything that a request over MQTT could not.
"""

from slackwater.outside.home.devices import Device, devices

__all__ = ["Device", "devices"]
