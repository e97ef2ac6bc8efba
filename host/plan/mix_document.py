"""The mixing sheet: what goes into the tank, load by load, in the usual order."""

from __future__ import annotations

from decimal import Decimal

from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Level,
    Message,
    Messages,
    Quantity,
    Section,
    Table,
    quantity,
)
from host.plan.amounts import (
    USUAL,
    Measured,
    Poured,
    PourUnit,
    measure,
    pour_unit,
    settle,
    settle_loads,
    settled_quantity,
    stock_mix,
)
from host.plan.mix import CAUTIONS, label_warnings
from host.plan.mix_form import NOTHING_BEFORE, Before, Job, Sheet, work_out
from host.plan.products import ORDER, Product
from host.rig import Rig
from host.units import UNITS, format_value

_PER_AREA = {"liquid": "product_rate", "dry": "small_mass_per_area"}
_SMALLEST_PART = 0.1  # of a full load; less than that is hard to draw and to stir


def mix_document(
    rig: Rig, sheet: Sheet, system: str, *, command: bool = False, before: Before = NOTHING_BEFORE
) -> Document:
    """The mixing sheet of what was typed; see `work_out` for the arguments and errors."""
    return job_document(work_out(rig, sheet, system, command=command, before=before), system)


def job_document(job: Job, system: str) -> Document:
    """The mixing sheet of a job that was worked out."""
    return _Writer(job, system).document()


class _Writer:
    """One sheet being written."""

    def __init__(self, job: Job, system: str) -> None:
        self._job, self._mix, self._system = job, job.mix, system
        self._poured = tuple(self._settle(index, product) for index, product in enumerate(job.mix.products))
        self._volume = self._water("volume_m3")
        self._area = settle_loads([(load.count, load.area_m2) for load in job.mix.loads], _showing_unit("area", system))

    def document(self) -> Document:
        """Warnings, loads, all together, the order, cautions."""
        messages = self._messages()
        loads = tuple(self._load(place) for place in range(len(self._mix.loads)))
        worst = max((_SEVERITY.index(message.level) for message in messages), default=0)
        return Document(
            "mix",
            f"Mix for {self._job.rig.name}",
            self._answer(),
            (
                Section("", "", (Messages(messages, key="warnings"),)),
                Section("loads", "Into the tank", sections=loads, listed=True),
                Section("", "In all", (self._totals(), self._facts())),
                *self._put_down(),
                *self._order(),
                Section("", "Take care", (Messages(tuple(map(Message, CAUTIONS)), key="cautions"),)),
            ),
            _SEVERITY[worst],
        )

    def _settle(self, index: int, product: Product) -> Poured:
        amounts = [(load.count, load.products[index]) for load in self._mix.loads]
        name = product.dose.unit if product.dose.unit not in ("", "percent") else USUAL[product.form, self._system]
        return settle_loads(amounts, pour_unit(name, min(amount for _, amount in amounts)))

    def _water(self, name: str) -> Poured:
        amounts = [(load.count, getattr(load, name)) for load in self._mix.loads]
        unit = pour_unit("gallon" if self._system == "us" else "liter", min(amount for _, amount in amounts))
        return settle_loads(amounts, unit)

    def _show(self, settled: Decimal, exact: float, unit: PourUnit) -> Quantity:
        return settled_quantity(settled, exact, unit, self._system)

    def _total(self, poured: Poured, exact: float) -> Quantity:
        return self._show(poured.total, exact, poured.unit)

    def _answer(self) -> str:
        total, tanks = self._mix.total, self._mix.tanks
        volume = self._total(self._volume, total.volume_m3).text
        area = self._total(self._area, total.area_m2).text
        loads = "one load" if tanks == 1 else f"{tanks} loads"
        if len(self._poured) == 1:
            product = self._total(self._poured[0], total.products[0]).text
            return f"{product} of product in {volume} of mix for {area}, {loads}."
        return f"{len(self._poured)} products in {volume} of mix for {area}, {loads}."

    def _messages(self) -> tuple[Message, ...]:
        products, rate = self._mix.products, self._mix.rate_m3_m2
        made = [Message(text, "stop", "label") for product in products for text in label_warnings(product, rate)]
        made += [message for index in range(len(products)) for message in self._unmeasurable(index)]
        if self._job.tank_m3 > self._job.rig.tank.volume_m3 * (1 + 1e-9):
            holds = format_value(self._job.rig.tank.volume_m3, "volume", self._system)
            filled = format_value(self._job.tank_m3, "volume", self._system)
            made.append(Message(f"A load of {filled} is more than the tank holds, {holds}.", "warning", "tank"))
        made += self._small_part()
        made += [
            Message(f"{name}: {used.runs} {'run' if used.runs == 1 else 'runs'} put down "
                    f"{self._per_area(used.per_area, used.form).text} since {used.since}"
                    f"{f' on {used.place}' if used.place else ''}.", "note", "used")
            for name, used in self._job.before.used.items()
        ]  # fmt: skip
        limited = {product.name for product in products if product.most_per_season is not None}
        for name, runs in self._job.before.unknown.items():
            some = "1 run does" if runs == 1 else f"{runs} runs do"
            text = f"{name}: {some} not say how much of it went down this season, and {'is' if runs == 1 else 'are'} "
            text += "not counted: find out, and say yourself what was used."
            made.append(Message(text, "warning" if name in limited else "advice", "used"))
        if self._job.before.not_counted:
            count = self._job.before.not_counted
            files = "1 run file is" if count == 1 else f"{count} run files are"
            text = f"{files} not counted in what was used this season: see the list of runs."
            made.append(Message(text, "advice", "used"))
        return tuple(made)

    def _unmeasurable(self, index: int) -> list[Message]:
        product, poured = self._mix.products[index], self._poured[index]
        tools = self._job.tools[product.form]
        for load, settled in zip(self._mix.loads, poured.loads, strict=True):
            measured = measure(load.products[index], tools)
            if measured.good:
                continue
            finest = tools[0]
            amount = self._show(settled, load.products[index], poured.unit).text
            verb = "weigh" if product.form == "dry" else "show"
            stock = stock_mix(load.products[index], tools)
            pour = settle(stock.pour_m3 * 1e6)
            return [
                Message(
                    f"{amount} of {product.name}: {finest.name} with {finest.step} {finest.unit.symbol} steps cannot "
                    f"{verb} this. Treat more ground at once, or make a stock mix if the label allows it: "
                    f"{stock.product.quantity(self._system).text} made up to 1 L with water, and {pour} mL of that "
                    "into the tank.",
                    "warning",
                    "cannot be measured",
                )
            ]
        return []

    def _small_part(self) -> list[Message]:
        loads = self._mix.loads
        if len(loads) < 2 or loads[-1].volume_m3 >= _SMALLEST_PART * loads[0].volume_m3:
            return []
        each = self._mix.total.volume_m3 / self._mix.tanks
        text = (
            f"The part load is small, hard to draw and to stir: {self._mix.tanks} equal loads of "
            f"{format_value(each, 'volume', self._system)} are easier."
        )
        return [Message(text, "advice", "part load")]

    def _load(self, place: int) -> Section:
        load = self._mix.loads[place]
        volume = self._show(self._volume.loads[place], load.volume_m3, self._volume.unit)
        name = "This load" if self._mix.tanks == 1 else "Part load" if place else "Full load"
        times = f", {load.count} times" if load.count > 1 else ""
        half = load.volume_m3 / 2 / self._volume.unit.size
        steps = [
            Fact("", "Water, about half", self._show(settle(half, 2), half, self._volume.unit)),
            *(self._step(index, place) for index in range(len(self._mix.products))),
            Fact("volume", "Water up to", volume),
            Fact("area", "Covers", self._show(self._area.loads[place], load.area_m2, self._area.unit)),
            Fact("count", "", load.count),
            Fact("water", "", quantity(load.water_m3, "volume", self._system)),
        ]
        return Section("", f"{name}, {volume.text}{times}", (Facts(tuple(steps)), self._machine(place)))

    def _step(self, index: int, place: int) -> Fact:
        """How much of one product goes in, and how to measure it."""
        product, amount, measured = self._amount(index, place)
        poured_unit, settled = self._poured[index].unit, self._poured[index].loads[place]
        if not measured.good:
            return Fact("", product.name, f"{amount.text}: too little to measure, see above")
        shown = measured.quantity(self._system).text
        same = measured.tool.unit == poured_unit and measured.shown == settled
        how = f"with {measured.with_what()}"
        return Fact("", product.name, f"{amount.text}, {how}" if same else f"{amount.text}: {shown} {how}")

    def _amount(self, index: int, place: int) -> tuple[Product, Quantity, Measured]:
        product, poured, load = self._mix.products[index], self._poured[index], self._mix.loads[place]
        amount = self._show(poured.loads[place], load.products[index], poured.unit)
        return product, amount, measure(load.products[index], self._job.tools[product.form])

    def _machine(self, place: int) -> Table:
        """The products of a load for machines, whatever unit they were typed in."""
        columns = tuple(Column(key, "") for key in ("name", "amount", "measure", "tool", "tool_off"))
        rows = []
        for index in range(len(self._mix.products)):
            product, amount, measured = self._amount(index, place)
            shown = measured.quantity(self._system) if measured.good else None
            rows.append((product.name, amount, shown, measured.with_what(), _percent(measured)))
        return Table("products", columns, tuple(rows))

    def _per_area(self, amount: float, form: str) -> Quantity:
        unit = UNITS[self._system][_PER_AREA[form]]
        value = amount * unit.per_si
        return Quantity(f"{settle(value):f}", value, unit.symbol, unit.slug)

    def _totals(self) -> Table:
        columns = (
            Column("name", "Product"),
            Column("amount", "In all"),
            Column("label", "Dose"),
            Column("per_area", "Per area"),
            Column("form", ""),
            Column("kind", ""),
        )
        rows = tuple(
            (
                product.name,
                self._total(self._poured[index], self._mix.total.products[index]),
                self._job.doses[product.name],
                self._per_area(product.per_area(self._mix.rate_m3_m2), product.form),
                product.form,
                product.family,
            )
            for index, product in enumerate(self._mix.products)
        )
        return Table("products", columns, rows)

    def _facts(self) -> Facts:
        job, mix, system = self._job, self._mix, self._system
        rate, field_rate = (quantity(mix.rate_m3_m2, kind, system) for kind in ("rate", "field_rate"))
        area = self._total(self._area, mix.total.area_m2)
        water = self._water("water_m3")
        facts = [
            Fact("", "Rate", f"{rate.text} ({field_rate.text})"),
            Fact("rate", "", rate),
            Fact("field_rate", "", field_rate),
            Fact("area", "", area),
            Fact("", "Area", f"{area.text} ({format_value(mix.total.area_m2, 'field_area', system)})"),
            Fact("mix", "Mix", self._total(self._volume, mix.total.volume_m3)),
            Fact("water", "Water", self._total(water, mix.total.water_m3)),
            Fact("loads_count", "Loads", mix.tanks),
        ]
        if job.field_m2 is not None and job.field_m2 > mix.total.area_m2 * (1 + 1e-9):
            facts.insert(
                3, Fact("field_area", "Field, of which the bands are sprayed", quantity(job.field_m2, "area", system))
            )
        return Facts(tuple(facts))

    def _put_down(self) -> tuple[Section, ...]:
        measured = self._job.measured_rate_m3_m2
        if measured is None:
            return ()
        columns = (Column("name", "Product"), Column("put_down", "Put down"), Column("of_wanted", "Of what was wanted"))
        share = measured / self._mix.rate_m3_m2
        of_wanted = Quantity(f"{settle(100 * share):f}", 100 * share, "%", "percent")
        rows = tuple(
            (product.name, self._per_area(amount, product.form), of_wanted)
            for product, amount in zip(self._mix.products, self._mix.put_down(measured), strict=True)
        )
        heading = f"Put down at a measured {format_value(measured, 'rate', self._system)}"
        return (Section("", heading, (Table("put_down", columns, rows),)),)

    def _order(self) -> tuple[Section, ...]:
        if len(self._mix.products) == 1:
            return ()
        steps = [Message("Fill the tank half with water and start the agitation.")]
        for product in self._mix.products:
            family = ORDER[product.family].words if product.family else "kind not said: see its label"
            steps.append(Message(f"Add {product.name} ({family}), and let it mix in."))
        steps.append(Message("Fill up with water. This is the usual order; the label goes before it."))
        return (Section("", "In this order", (Messages(tuple(steps), key="order", ordered=True),)),)


_SEVERITY: tuple[Level, ...] = ("note", "advice", "warning", "stop")


def _percent(measured: Measured) -> Quantity:
    return Quantity(f"{100 * measured.off:.1f}", 100 * measured.off, "%", "percent")


def _showing_unit(kind: str, system: str) -> PourUnit:
    unit = UNITS[system][kind]
    return PourUnit(unit.symbol, unit.slug, 1.0 / unit.per_si)
