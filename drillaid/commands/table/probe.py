"""`drillaid table probe`: the raw dialogue with a controller, for who writes a dialect for it."""

from __future__ import annotations

import argparse

from drillaid.commands import Answer, say
from drillaid.errors import UsageError

SUMMARY = "shows what a table's controller says, to write a dialect for it"
EXAMPLE = "drillaid table probe --port /dev/ttyUSB0 --baud 115200 --send M5"
_NOTE = (
    "Nothing is sent but what --send and --ask name. A line you send may move the table: keep "
    "clear, and the emergency stop within reach."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port_arguments(parser)
    parser.add_argument(
        "--dialect", metavar="NAME|FILE", help="says beside each line what it means in this dialect"
    )
    parser.add_argument(
        "--send",
        action="append",
        default=[],
        metavar="LINE",
        help="a line to send, as it stands (numbered where --dialect says so); may be given again",
    )
    parser.add_argument(
        "--ask", action="store_true", help="asks for the status as the dialect does"
    )
    parser.add_argument(
        "--seconds",
        type=float,
        default=2.0,
        metavar="S",
        help="to listen after opening and after each line (default: 2)",
    )
    parser.add_argument(
        "--ending",
        choices=("lf", "cr", "crlf"),
        default="lf",
        help="of the lines sent (default: lf)",
    )
    parser.add_argument(
        "--dialects",
        action="store_true",
        help="shows the shipped dialects, to copy and change, and ends",
    )


def add_port_arguments(parser: argparse.ArgumentParser, *, required: bool = False) -> None:
    """--port and --baud, as every command of the table has them."""
    parser.add_argument(
        "--port",
        required=required,
        metavar="URL",
        help="a device name, a pyserial URL such as socket://127.0.0.1:5333, or sim",
    )
    parser.add_argument("--baud", type=int, default=115_200, help="(default: 115200)")


def run(args: argparse.Namespace) -> Answer:
    from drillaid.table.dialect_file import dialect_text, load_dialect, shipped
    from drillaid.table.link import Link

    if args.dialects:
        texts = {name: dialect_text(name) for name in shipped()}
        return Answer("\n".join(texts.values()), {"dialects": texts})
    if args.port is None:
        raise UsageError("no port is named", remedy="give --port, or --dialects to see those")
    if not 0.05 <= args.seconds <= 60:
        raise UsageError(f"--seconds is {args.seconds:g}", remedy="give 0.05 to 60")
    lines = [_checked(line) for line in args.send]
    dialect = None if args.dialect is None else load_dialect(args.dialect)
    if args.ask and dialect is None:
        raise UsageError("how to ask is the dialect's business", remedy="give --dialect too")
    if args.port == "sim":
        _simulate(dialect)
    say(_NOTE)
    with Link.open(args.port, baud=args.baud) as link:
        dialogue = Dialogue(link, dialect)
        dialogue.listen(args.seconds)
        if args.ask:
            dialogue.ask(args.seconds)
        ending = {"lf": b"\n", "cr": b"\r", "crlf": b"\r\n"}[args.ending]
        for line in lines:
            dialogue.send(line, ending)
            dialogue.listen(args.seconds)
        dialogue.end()
    return Answer("\n".join(dialogue.text), {"port": args.port, "dialogue": dialogue.rows})


def _checked(line: str) -> str:
    if not line or not line.isascii() or not line.isprintable():
        raise UsageError(f"--send {line!r} is no line of plain text")
    return line


def _simulate(dialect) -> None:
    from drillaid.simulation.table import SimulatedTable
    from drillaid.simulation.table_port import SimulatedClock, SimulatedWire
    from drillaid.simulation.table_words import TONGUES
    from drillaid.table.wire import register_port

    name = dialect.name if dialect is not None and dialect.name in TONGUES else "line-ack"
    clock = SimulatedClock()
    register_port("sim", lambda: SimulatedWire(SimulatedTable(clock.now, dialect=name), clock))


class Dialogue:
    """text: lines for a person; rows: the same as JSON."""

    def __init__(self, link, dialect) -> None:
        self._link, self._dialect = link, dialect
        self._begun = link.now()
        self._told = self._number = 0
        self.text: list[str] = []
        self.rows: list[dict] = []

    def listen(self, seconds: float) -> None:
        end = self._link.now() + seconds
        while (left := end - self._link.now()) > 0:
            self._link.poll(min(left, 0.1))
        self._take()

    def ask(self, seconds: float) -> None:
        d = self._dialect
        if d.status_outside_lines:
            self._link.send(d.ask.encode("ascii"))
        else:
            self.send(d.ask, d.ending.encode("ascii"))
        self.listen(seconds)

    def send(self, line: str, ending: bytes) -> None:
        """As it stands; with a dialect of numbered lines, with number and checksum."""
        if self._dialect is not None and self._dialect.numbered:
            self._number += 1
            self._link.send(self._dialect.line_bytes(line, self._number))
        else:
            self._link.send(line.encode("ascii") + ending)

    def end(self) -> None:
        """What never became a line: some controllers prompt so, some baud rates look so."""
        if self._link.half:
            self.text.append(f"  (no line end after) {self._link.half!r}")
            self.rows.append({"half_line": repr(self._link.half)})
        if not any(not row.get("sent", True) for row in self.rows):
            self.text.append("  nothing came: check baud rate, cable, power; try --ending cr")

    def _take(self) -> None:
        for heard in list(self._link.dialogue)[self._told :]:
            row = {"t": round(heard.time_s - self._begun, 4), "sent": heard.sent,
                   "text": heard.text, "fault": heard.fault}  # fmt: skip
            line = f"{row['t']:8.3f} s {'->' if heard.sent else '<-'} {heard.text}"
            if heard.fault:
                line += f"   ({heard.fault})"
            if not heard.sent and self._dialect is not None:
                row["means"] = self._meaning(heard)
                line += f"   [{row['means']}]"
            self.rows.append(row)
            self.text.append(line)
        self._told = len(self._link.dialogue)

    def _meaning(self, heard) -> str:
        from drillaid.table.framing import Line

        reply = self._dialect.read(Line(heard.text, heard.fault))
        return reply.kind if reply.state is None else f"{reply.kind}: {reply.state}"
