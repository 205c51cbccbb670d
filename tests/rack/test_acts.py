"""Whatever is done in whatever order, no piece comes into an impossible state, and undo restores exactly."""

from collections.abc import Callable
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from rack_crowd import cut_of, halves
from racks import accounts, new_piece

from nesting.errors import InputError, RackError
from nesting.rack.look import Filter
from nesting.rack.piece import STATES, Listed
from nesting.rack.store import Rack, open_rack

Snapshot = dict[str, Listed]

LEGAL = {
    "set aside": {"on the rack"},
    "give back": {"set aside"},
    "scrap": {"on the rack"},
    "cut": {"on the rack", "set aside"},
    "edit": {"on the rack", "set aside"},
}


class Acts(RuleBasedStateMachine):
    """A rack beside a slow model: the snapshots that each act left behind."""

    picks = st.integers(0, 1_000)

    @initialize()
    def begin(self) -> None:
        self.rack: Rack = open_rack("sqlite://", create=True)
        self.done: list[tuple[set[str], Snapshot]] = []
        self.ids: set[str] = set()
        self.add()
        self.add()

    def teardown(self) -> None:
        self.rack.close()

    def snapshot(self) -> Snapshot:
        return {p.id: p for p in self.rack.listed(Filter(states=STATES))}

    def act(self, kind: str, pick: int, do: Callable[[str], Any]) -> None:
        """Do something to a piece: it must work from a legal state, and change nothing from any other."""
        before = self.snapshot()
        piece = before[sorted(before)[pick % len(before)]]
        if piece.state not in LEGAL[kind]:
            try:
                do(piece.id)
            except RackError as error:
                assert str(error).startswith(piece.id) and str(error).endswith("nothing was changed")
            else:
                raise AssertionError(f"{kind} from {piece.state}")
            assert self.snapshot() == before
            return
        do(piece.id)
        after = self.snapshot()
        touched = {id for id in after if after[id] != before.get(id)}
        assert piece.id in touched
        self.done.append((touched, {id: before[id] for id in touched if id in before}))

    @rule()
    def add(self) -> None:
        id = self.rack.add([new_piece(1024, 512)], who="Ann")[0].id
        assert id not in self.ids
        self.done.append(({id}, {}))

    @rule(pick=picks)
    def set_aside(self, pick: int) -> None:
        self.act("set aside", pick, lambda id: self.rack.set_aside([id], f"job {pick % 3}", who="Ann"))

    @rule(pick=picks)
    def give_back(self, pick: int) -> None:
        self.act("give back", pick, lambda id: self.rack.give_back([id], who="Ann"))

    @rule(pick=picks)
    def scrap(self, pick: int) -> None:
        self.act("scrap", pick, lambda id: self.rack.scrap([id], who="Ann"))

    @rule(pick=picks, place=st.sampled_from(["A", "B", None]))
    def edit(self, pick: int, place: str | None) -> None:
        def do(id: str) -> None:
            now = self.rack.piece(id).facts
            other = "C" if now.place == place else place
            self.rack.edit(id, lambda f: type(f)(**{**_plain(f), "place": other}), who="Ann")

        self.act("edit", pick, do)

    @rule(pick=picks)
    def cut(self, pick: int) -> None:
        def do(id: str) -> None:
            piece = self.rack.piece(id)
            came = halves(piece) if piece.summary.size_y_mm > 8 else []
            cut = cut_of(piece)
            if not came:
                cut.areas["parts_mm2"] = piece.summary.area_mm2  # type: ignore[index]
            self.rack.cut(id, cut, came, who="Ann")

        self.act("cut", pick, do)

    @rule(pick=picks)
    def undo(self, pick: int) -> None:
        before = self.snapshot()
        id = sorted(before)[pick % len(before)]
        mine = [i for i, (touched, _) in enumerate(self.done) if id in touched]
        later = mine and any(self.done[mine[-1]][0] & touched for touched, _ in self.done[mine[-1] + 1 :])
        if not mine or later:
            try:
                self.rack.undo(id, who="Bob")
            except RackError as error:
                assert ("cannot be undone" if mine else "nothing is left to undo") in str(error)
            else:
                raise AssertionError("undone although something rests on it")
            assert self.snapshot() == before
            return
        touched, former = self.done.pop(mine[-1])
        self.rack.undo(id, who="Bob")
        after = self.snapshot()
        for one in touched:
            assert after[one] == former[one] if one in former else after[one].state == "taken back"
        assert {i: p for i, p in after.items() if i not in touched} == {
            i: p for i, p in before.items() if i not in touched
        }

    @invariant()
    def whole(self) -> None:
        accounts(self.rack)
        self.ids |= set(self.snapshot())

    @rule()
    def unknown(self) -> None:
        try:
            self.rack.undo("ZZ-9", who="Bob")
        except InputError as error:
            assert "no piece of the rack has this id" in str(error)


def _plain(facts: object) -> dict[str, Any]:
    from dataclasses import asdict

    return asdict(facts)  # type: ignore[call-overload, no-any-return]


TestActs = Acts.TestCase
TestActs.settings = settings(max_examples=20, stateful_step_count=50, deadline=None)
