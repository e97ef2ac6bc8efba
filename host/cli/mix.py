"""`swardflow mix`: products and water for a tank or an area."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from host.cli.document_output import add_output_arguments, print_document
from host.cli.form_options import answered, field_help, field_metavar
from host.cli.shared_options import PIPE, add_out_argument, add_rig_argument, add_runs_argument, rig_of
from host.run_folder import DEFAULT_FOLDER

if TYPE_CHECKING:
    from host.plan.mix_form import Before


class _OfProduct(argparse.Action):
    """An option about the product named last; `--product` begins the next one."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: str | Sequence[Any] | None,
        option_string: str | None = None,
    ) -> None:
        products = [dict(product) for product in getattr(namespace, "products", None) or []]
        if self.dest == "product":
            products.append({})
        if not products:
            parser.error(f"{option_string} is about a product: give --product before it")
        if self.dest in products[-1]:
            parser.error(f"{option_string} stands there twice for one --product")
        products[-1][self.dest] = str(values)
        namespace.products = products


DESCRIPTION = (
    "Product per area is the point; water is only its carrier. The label of the product is the law. "
    "Give --product once for each product; the options about it follow it."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    from host.plan.fields import JOB, PRODUCT

    add_rig_argument(parser, "the sprayer, with its tank and its target rate")
    parser.set_defaults(products=[])
    for item in PRODUCT:
        parser.add_argument(
            item.option,
            dest=item.name,
            action=_OfProduct,
            metavar=field_metavar(item),
            help=field_help(item),
            default=argparse.SUPPRESS,
        )
    for item in JOB:
        parser.add_argument(item.option, dest=item.name, metavar=field_metavar(item), help=field_help(item))
    add_out_argument(parser, "write the sheet, too, for 'record --sheet'; - prints it in place of all else", pipe=True)
    add_runs_argument(parser)
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
    add_output_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Print the mixing sheet; 1 when there is something to be warned of."""
    from datetime import datetime

    from host.cli.output_file import write_new
    from host.plan.fields import JOB
    from host.plan.mix_document import job_document
    from host.plan.mix_form import Sheet, work_out
    from host.plan.sheet_file import sheet_toml

    rig = rig_of(args)
    system = args.units or rig.units
    sheet = Sheet({item.name: getattr(args, item.name) for item in JOB}, args.products)
    before = _before(args)
    job = answered(lambda: work_out(rig, sheet, system, command=True, before=before))
    if args.out is not None:
        write_new(args.out, sheet_toml(job, sheet, datetime.now().astimezone()))
    document = job_document(job, system)
    if args.out != PIPE:
        print_document(document, args)
    return 1 if document.level in ("warning", "stop") else 0


def _before(args: argparse.Namespace) -> Before:
    """What the runs of this season put down; nothing is looked up for products without a name."""
    from datetime import date

    from host.library import Library
    from host.library.season_use import used_this_season
    from host.plan.mix_form import Before

    folder = (args.runs or DEFAULT_FOLDER).expanduser()
    if not folder.is_dir() or not any((product.get("name") or "").strip() for product in args.products):
        return Before()
    return used_this_season(Library(folder).entries(), date.today(), args.place or "")
