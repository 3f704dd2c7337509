"""What the machine file may say about its place and the broker.

Floor 6. One subject: the keys that decide topics, connections and messages. Laws here:
passwords and addresses stand in files, never in the configuration; nothing here is part
of an approval but the site's name.
"""

from pydantic import Field

from slackwater.facts.alarms import Priority
from slackwater.outside.settings.quantities import Id, OneLine
from slackwater.outside.settings.tables import TableModel
from slackwater.outside.wire import PREFIX


class SiteHead(TableModel):
    """The key that stands above all tables."""

    site: Id = Field(
        default="home",
        description="Name of the place, part of every topic",
        examples=['"home"'],
    )


class BrokerTable(TableModel):
    """The MQTT broker and the daemon's two identities on it."""

    host: str = Field(
        default="localhost",
        min_length=1,
        max_length=253,
        pattern=r"^[A-Za-z0-9._:\-]+$",
        description="Name or address of the broker",
        examples=['"localhost"'],
    )
    port: int = Field(
        default=1883,
        ge=1,
        le=65535,
        description="Port of the broker",
        examples=["8883"],
    )
    prefix: str = Field(
        default=PREFIX,
        pattern=r"^[a-z0-9-]{1,32}(/[a-z0-9-]{1,32}){0,3}$",
        description="First levels of every topic",
        examples=['"slackwater/1"'],
    )
    ca_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="Certificate of the authority to trust; its presence turns TLS on",
        examples=['"broker-ca.pem"'],
    )
    certificate_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="Own certificate",
        examples=['"slackwater.pem"'],
    )
    key_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="Key of the own certificate",
        examples=['"slackwater.key"'],
    )
    observe_user: OneLine | None = Field(
        default=None,
        min_length=1,
        description="Identity that listens and tells",
        examples=['"slackwater-observe"'],
    )
    observe_password_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="File with its password",
        examples=['"observe.password"'],
    )
    actuate_user: OneLine | None = Field(
        default=None,
        min_length=1,
        description="Identity that may command pumps; used only while enabled",
        examples=['"slackwater-actuate"'],
    )
    actuate_password_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="File with its password; read only while enabled",
        examples=['"actuate.password"'],
    )


class HomeTable(TableModel):
    """Home automation: whether the tanks announce themselves to it by MQTT."""

    discovery: str = Field(
        default="homeassistant",
        pattern=r"^[a-z0-9-]{1,32}(/[a-z0-9-]{1,32}){0,3}$",
        description="First levels of the topics it looks for devices on",
        examples=['"homeassistant"'],
    )
    announce: bool = Field(
        default=True,
        description="Whether devices are announced; false takes away what was",
        examples=["false"],
    )


class MetricsTable(TableModel):
    """Figures for a monitoring system that asks on this machine."""

    loopback_port: int = Field(
        default=9464,
        ge=1024,
        le=65_535,
        description="Port of 127.0.0.1 at which they are served, under /metrics",
        examples=["9464"],
    )


class NotifyTable(TableModel):
    """Where alarms are sent besides MQTT: mail, chat or phone."""

    urls_file: OneLine = Field(
        min_length=1,
        description="File with one address a line, as the package apprise writes them; "
        "needs the extra `notify`",
        examples=['"notify.urls"'],
    )
    least: Priority = Field(
        default="soon",
        description="Lowest priority that is sent",
        examples=['"urgent"'],
    )
    summary_at: str = Field(
        default="06:00",
        pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$",
        description="When the daily summary is sent, in UTC",
        examples=['"18:30"'],
    )
