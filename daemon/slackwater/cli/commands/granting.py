"""`access-list`: what each user of the broker may do, for the files as they stand.

Floor 8. One subject: the broker's access list. Laws here: nothing is written and no
broker is asked; the rights are those of the one table, none is added here; no line is
broken to fit a screen, for a broker reads them.
"""

from slackwater.cli.document import Answer
from slackwater.cli.shell import Shell, verb
from slackwater.outside.rights import access_list, household_of, users
from slackwater.outside.settings import read_broker, read_machine

_HEAD = """\
# Access list for the broker, written by `slackwater access-list`; make it anew
# when a node, relay, probe or switch comes or goes. In mosquitto.conf:
#   acl_file PATH   and   allow_anonymous false

"""


@verb(
    "access-list",
    epilog="Let the broker read the file anew afterwards, and give each user in it a "
    "password of its own (mosquitto_passwd). Example: slackwater access-list > "
    "slackwater.acl",
)
def show_rights(shell: Shell) -> Answer:
    """Print who may do what on the broker.

    The access list of a Mosquitto for the files as they stand, with each node, relay,
    probe and switch and home automation: to be put where the broker's own file names
    it. Whatever is not in it is refused.
    """
    household = household_of(read_broker(shell.config), read_machine(shell.config))
    text = _HEAD + access_list(household)
    return Answer(
        fields={
            "users": [user for user, _, _ in users(household)],
            "access_list": text,
        },
        raw=None if shell.json else (text.rstrip("\n") + "\n",),
    )
