"""Boards that are a table of bytes, each answered by a board of the other side's own making on a pty or TCP."""

import os
import re
import select
import socket
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pydantic import ValidationError
from ruamel.yaml import YAML

from drivers.config_files import folder
from drivers.errors import BadReply, LinkTimeout, Stuck
from drivers.protocols.relay_bytes import load
from drivers.switches.board import DRIVER, BoardOptions

DEADLINE_S = 10
PATHS = {
    "antenna-bypass": {1: "off", 2: "off"},
    "antenna-stage": {1: "on", 2: "off"},
    "load-bypass": {1: "off", 2: "on"},
    "load-stage": {1: "on", 2: "on"},
}


class Bytes:
    """The far end of a line: answers each request as `reply` says, and keeps what it heard."""

    def __init__(self, reply: Callable[[dict[int, bool], bytes], bytes], length: int | None) -> None:
        self.relays: dict[int, bool] = {1: False, 2: False}
        self.heard: list[bytes] = []
        self.deaf = False
        self.reply = reply
        self._length = length
        self._pending = b""

    def answer(self, received: bytes) -> bytes:
        """Requests come as a stream: those of fixed length may arrive together or in pieces."""
        self._pending += received
        length = self._length or len(self._pending)
        answers = b""
        while len(self._pending) >= length > 0:
            request, self._pending = self._pending[:length], self._pending[length:]
            self.heard.append(request)
            answers += b"" if self.deaf else self.reply(self.relays, request)
        return answers


def one_byte(relays, request):
    """As the maker's command table has it: 65h/66h on, 6Fh/70h off, 5Bh asks for all."""
    code = request[0]
    if code in (0x65, 0x66):
        relays[code - 0x64] = True
    elif code in (0x6F, 0x70):
        relays[code - 0x6E] = False
    elif code == 0x5B:
        return bytes([relays[1] | relays[2] << 1])
    return b""


def three_byte(relays, request):
    """FF, relay, state; state 03 asks."""
    mark, relay, state = request
    assert mark == 0xFF
    if state == 3:
        return bytes([0xFF, relay, relays[relay]])
    relays[relay] = state == 1
    return b""


def text_line(relays, request):
    """RELAY-SET-board,relay,state is confirmed by itself with OK."""
    _, relay, state = request.decode().strip().split(",")
    relays[int(relay)] = state == "1"
    return request + b",OK\r\n"


BOARDS = {"one-byte": (one_byte, 1), "three-byte": (three_byte, 3), "text-line": (text_line, None)}


@pytest.fixture(params=BOARDS)
def dialect(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture
def far_end(dialect: str) -> Bytes:
    return Bytes(*BOARDS[dialect])


@pytest.fixture(params=["pty", "tcp"])
def link(request: pytest.FixtureRequest, far_end: Bytes) -> Iterator[str]:
    stop = threading.Event()
    if request.param == "pty":
        master, slave = os.openpty()
        tty.setraw(slave)

        def serve() -> None:
            while not stop.is_set():
                if select.select([master], [], [], 0.05)[0]:
                    os.write(master, far_end.answer(os.read(master, 100)))

        name = os.ttyname(slave)
    else:
        listener = socket.create_server(("127.0.0.1", 0))
        listener.settimeout(0.05)

        def serve() -> None:
            while not stop.is_set():
                try:
                    connection, _ = listener.accept()
                except TimeoutError:
                    continue
                with connection:
                    connection.settimeout(0.05)
                    while not stop.is_set():
                        try:
                            data = connection.recv(100)
                        except TimeoutError:
                            continue
                        if not data:
                            break
                        connection.sendall(far_end.answer(data))

        name = f"tcp://127.0.0.1:{listener.getsockname()[1]}"
    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    yield name
    stop.set()
    thread.join(DEADLINE_S)
    if request.param == "pty":
        os.close(master)
        os.close(slave)
    else:
        listener.close()


@pytest.fixture
def options(dialect: str, link: str) -> BoardOptions:
    return BoardOptions.model_validate({"link": link, "dialect": dialect, "paths": PATHS, "timeout_s": 0.3})


@pytest.fixture
def switch(options: BoardOptions):
    opened = DRIVER.open(options)
    yield opened
    opened.close()


def test_every_path_is_set_and_reads_back(switch, far_end):
    for path, setting in PATHS.items():
        switch.select(path)
        assert far_end.relays == {relay: state == "on" for relay, state in setting.items()}
        assert switch.selected() == path


def test_nothing_is_sent_that_is_not_in_the_table(switch, far_end, options):
    for path in [*PATHS, *reversed(PATHS)]:
        switch.select(path)
    assert set(far_end.heard) <= options.table.allowed()


def test_a_deaf_board_that_can_answer_is_told(switch, far_end):
    switch.select("antenna-bypass")
    far_end.deaf = True
    with pytest.raises(LinkTimeout):
        switch.select("load-stage")


class TestReadBack:
    @pytest.fixture(params=["one-byte", "three-byte"])
    def dialect(self, request):
        return request.param

    def test_a_board_that_can_be_asked_is_not_set_again(self, switch, far_end):
        switch.select("antenna-stage")
        far_end.heard.clear()
        assert switch.select("antenna-stage") == 0
        assert switch.select("load-stage") == 1

    def test_a_relay_that_sticks_is_told(self, switch, far_end):
        switch.select("load-bypass")
        far_end.reply = lambda relays, request, reply=far_end.reply: (
            reply(relays, request),
            relays.update({2: True}),
        )[0]
        with pytest.raises(Stuck, match="relay 2 was told to be off and reads on"):
            switch.select("antenna-stage")

    def test_an_answer_outside_the_table_is_no_state(self, switch, far_end):
        far_end.reply = lambda relays, request: b"\x00\x01\x02\x03"
        with pytest.raises(BadReply):
            switch.selected()


class TestWithoutReadBack:
    @pytest.fixture
    def dialect(self):
        return "text-line"

    def test_a_board_that_cannot_be_asked_says_so(self, switch):
        assert "no read-back" in switch.identify()

    def test_it_counts_as_unknown_until_it_is_set(self, switch, far_end):
        assert switch.selected() is None
        assert switch.select("antenna-bypass") == 2
        assert switch.selected() == "antenna-bypass"

    def test_a_board_that_confirms_something_else_is_told(self, switch, far_end):
        far_end.reply = lambda relays, request: b"RELAY-SET-255,1,0,ERROR\r\n"
        with pytest.raises(BadReply, match="ERROR"):
            switch.select("antenna-stage")


@pytest.mark.parametrize(
    "name", sorted(file.stem for file in (folder() / "dialects" / "boards").glob("*.yaml"))
)
def test_the_tables_that_come_with_the_program_are_sound_and_cite_their_source(name):
    table = load(folder() / "dialects" / "boards" / f"{name}.yaml")
    assert table.source
    assert name in BOARDS


def test_the_speed_of_the_table_holds_unless_the_station_file_says_otherwise():
    of_table = BoardOptions.model_validate({"link": "/dev/null", "dialect": "text-line", "paths": PATHS})
    own = BoardOptions.model_validate(
        {"link": "/dev/null", "dialect": "text-line", "paths": PATHS, "baud": 19200}
    )
    assert (of_table.line().baud, own.line().baud) == (115200, 19200)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('  2: {"on": "FF 02 01", "off": "FF 02 01"}', "line 5.*same bytes"),
        ('  2: {"on": "FF 02 0", "off": "FF 02 00"}', "hex"),
        ('  2: {"on": "FF 02 01"}', "line 5.*off"),
        ('  2: {"on": "FF 02 01", "off": "00", ask: "01"}', "line 5.*come together"),
        ('  2: {"on": "FF 02 01", "off": "00", key: "01"}', "line 5.*key"),
        ("  2: [", "line"),
    ],
)
def test_a_mistake_in_a_table_is_told_with_its_place(tmp_path, line, says):
    file = tmp_path / "board.yaml"
    file.write_text(
        f'source: bench\nnotation: hex\nrelays:\n  1: {{"on": "01", "off": "00"}}\n{line}\n', "utf-8"
    )
    with pytest.raises(ValidationError, match=says):
        BoardOptions.model_validate({"link": "/dev/null", "dialect": str(file), "paths": PATHS})


def test_an_unknown_table_names_those_there_are():
    with pytest.raises(ValidationError, match="one-byte, text-line, three-byte"):
        BoardOptions.model_validate({"link": "/dev/null", "dialect": "two-byte", "paths": PATHS})


def test_the_example_of_the_docs_is_a_table(tmp_path):
    page = (Path(__file__).parents[3] / "docs" / "add-a-relay-board.md").read_text("utf-8")
    table_text, section = re.findall(r"```yaml\n(.*?)```", page, re.DOTALL)
    file = tmp_path / "shed.yaml"
    file.write_text(table_text, "utf-8")
    switch = YAML(typ="safe").load(section)["switch"]
    keys = {key: value for key, value in switch.items() if key not in ("driver", "settle_s")}
    options = BoardOptions.model_validate(keys | {"dialect": str(file)})
    assert options.table.allowed() >= {b"K1 ON\r\n", b"K2?\r\n"}
