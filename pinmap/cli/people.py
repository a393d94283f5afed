"""``pinmap people``: who may sign in, without signing in; whoever has the database in their hands may do this."""

from __future__ import annotations

import json as json_lib
from typing import Annotated

import typer

from pinmap.core.model.people import PersonRole
from pinmap.services import people
from pinmap.services.shop import open_shop
from pinmap.settings import Settings
from pinmap.store.people import Person

people_app = typer.Typer(no_args_is_help=True)

SignInArg = Annotated[str, typer.Argument(metavar="NAME", help="The name the person signs in by.")]
JsonOpt = Annotated[bool, typer.Option("--json", help="Answer as JSON.")]


@people_app.command("list")
def list_all(json: JsonOpt = False) -> None:
    """List everybody with role and state."""
    lines = people.list_people(open_shop(Settings()))
    if json:
        plain = [
            {"sign_in": x.person.sign_in, "name": x.person.name, "role": x.person.role, "state": x.state} for x in lines
        ]
        print(json_lib.dumps(plain, ensure_ascii=False, indent=1))
        return
    for x in lines:
        print(f"{x.person.sign_in:<24} {x.person.role:<11} {x.state:<9} {x.person.name}")


@people_app.command("add")
def add(
    sign_in: SignInArg,
    name: Annotated[str, typer.Option(help="Name that stands beside changes; without it the sign-in name.")] = "",
    role: Annotated[PersonRole, typer.Option(help="What the person is in the shop.")] = PersonRole.BUILDER,
    json: JsonOpt = False,
) -> None:
    """Add a person; prints the one-time link by which they choose a password."""
    person, token = people.invite(open_shop(Settings()), name or sign_in, sign_in, role)
    _say(person, token, json)


@people_app.command("reset")
def reset(sign_in: SignInArg, json: JsonOpt = False) -> None:
    """Print a one-time link by which a person, such as a locked-out owner, chooses a new password."""
    shop = open_shop(Settings())
    person, token = people.new_link(shop, people.person_called(shop, sign_in).id)
    _say(person, token, json)


def _say(person: Person, token: str, json: bool) -> None:
    link = f"{Settings().address}/welcome/{token}"
    if json:
        print(json_lib.dumps({"sign_in": person.sign_in, "link": link}))
    else:
        print(f"For {person.name}, good once and for {people.LINK_DAYS} days: {link}")
