#!/usr/bin/env python3
"""A backend of the print server: sends a document to a raw TCP port, as it is.

Called as backend(7) says: without arguments it lists devices, else job, user, title, copies, options and
perhaps a file; the address is in DEVICE_URI, socket://HOST:PORT.
"""

import os
import shutil
import socket
import sys
from urllib.parse import urlsplit

if len(sys.argv) == 1:
    print('network socket "Unknown" "raw TCP port"')
    sys.exit(0)
address = urlsplit(os.environ["DEVICE_URI"])
document = open(sys.argv[6], "rb") if len(sys.argv) > 6 else sys.stdin.buffer
with document, socket.create_connection((address.hostname, address.port)) as link, link.makefile("wb") as to:
    shutil.copyfileobj(document, to)
