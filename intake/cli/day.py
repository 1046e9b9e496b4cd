"""The command ``day``: the receiving day, box by box, with water and salt to have ready."""

from __future__ import annotations

import click

from intake.cli.show import as_json, house_of, json_option, moment, say, table

__all__ = ["day"]


@click.command()
@click.argument("shipment")
@click.option("--lands", default="", help="Another landing than announced: a late truck.")
@click.option("--leaking", multiple=True, help="A leaking box: it jumps the queue.  May be repeated.")
@click.option("--warm", multiple=True, help="A box too warm or too cold: it jumps the queue.  May be repeated.")
@click.option("--seconds", default=5.0, show_default=True, help="Time for the search.")
@json_option
@click.pass_context
def day(
    ctx: click.Context,
    shipment: str,
    lands: str,
    leaking: tuple[str, ...],
    warm: tuple[str, ...],
    seconds: float,
    json_: bool,
) -> None:
    """Run the receiving day of SHIPMENT: which box next, where, by whom, and when it will be finished.

    Example: vatside day S1 --leaking 7 --lands 2027-03-04T11:30
    """
    from intake.desk.plans import shipment_facts
    from intake.desk.receiving import day_of, prepared
    from intake.errors import UnknownName

    house = house_of(ctx)
    if shipment not in shipment_facts(house):
        raise UnknownName("SHIPMENT", shipment, sorted(shipment_facts(house)), "shipment")
    batches = [b for b in house.floor().batches.values() if b.shipment == shipment and b.announced > 0]
    plan = day_of(house, batches, seconds=seconds, leaking=leaking, off_temperature=warm, lands=moment(house, lands))
    ready = prepared(house, batches, plan)
    if json_:
        as_json(
            plan.as_dict()
            | {"salt_kg": ready.salt_kg, "mixed_water_l": ready.acclimation_l + ready.dip_l + ready.reserve_l}
        )
        return
    zone = house.site.farm.zone
    opened = {step.box: step for step in plan.steps if step.step == "open"}
    rows = [
        (
            row.number,
            row.box,
            ", ".join(line.batch for line in opened[row.box].batches),
            f"{row.opens.astimezone(zone):%H:%M}",
            f"{row.hours_in_bag:.1f}",
            row.state or ("urgent" if row.urgent else ""),
            row.table,
            row.person,
        )
        for row in plan.order()
    ]
    say(table(("", "box", "batch", "opens", "h in bag", "", "table", "who"), rows))
    if plan.finish is not None and plan.worst_hours_in_bag is not None:
        box, hours = plan.worst_hours_in_bag
        say(
            [
                "",
                f"Finished at {plan.finish.astimezone(zone):%H:%M}; longest in the bag: {box}, {hours:.1f} h at opening.",
            ]
        )
    for aim in plan.aims:
        proof = "proved" if aim.proved else f"bound {aim.bound:g}"
        say([f"  {aim.name}: {aim.value:g} {aim.unit} ({proof}; best simple rule {aim.rule_value:g})"])
    total = ready.acclimation_l + ready.dip_l + ready.reserve_l
    say(
        [
            f"Have ready: {total:.0f} L mixed at {ready.salinity_psu:g} PSU, {ready.salt_kg:.1f} kg salt, {ready.most_tubs} tubs."
        ]
    )
    say([f"Note: {note}" for note in plan.notes])
