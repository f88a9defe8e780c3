"""``bpvet completion``: what a shell needs to finish commands, options, choices and files.

It is made from the parser itself, so that it never lags behind. Records are not read.
"""

from __future__ import annotations

import argparse

from bpvet.command.shared import options
from bpvet.command.shared.output import print_json
from bpvet.frozen import dataclass

ABOUT = """\
Prints what a shell needs to complete commands, options, choices and files. Records are not
read: the ids of animals are not completed.

examples, each for one shell:
  bpvet completion bash > ~/.local/share/bash-completion/completions/bpvet
  bpvet completion zsh > ~/.zfunc/_bpvet
  bpvet completion fish > ~/.config/fish/completions/bpvet.fish
"""

SHELLS = ("bash", "zsh", "fish")
#: Values that are files or folders, by the word that stands for them in the help.
_FILES = frozenset(("FILE", "DIR", "PATH"))


@dataclass(frozen=True)
class CommandWords:
    """A command: its name, its line in the help, its options and the choices of its arguments."""

    name: str
    help: str
    options: tuple[argparse.Action, ...]
    choices: tuple[str, ...]


ARGUMENTS = (
    options.argument("shell", choices=SHELLS, metavar="SHELL", help=", ".join(SHELLS)),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Print the completion."""
    from bpvet.command.main import parser

    text = _WRITERS[arguments.shell](words(parser()))
    if arguments.json:
        print_json({"shell": arguments.shell, "completion": text})
    else:
        print(text, end="")


def words(parser: argparse.ArgumentParser) -> tuple[CommandWords, ...]:
    """Return what can be completed, the program itself first, under a blank name.

    Parameters
    ----------
    parser : ArgumentParser
        Of the whole command line.
    """
    found = [CommandWords("", "", _options(parser), ())]
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            helps = {choice.dest: choice.help or "" for choice in action._choices_actions}
            found += [
                CommandWords(name, helps.get(name, ""), _options(subparser), _positional(subparser))
                for name, subparser in action.choices.items()
            ]
    return tuple(found)


def _options(parser: argparse.ArgumentParser) -> tuple[argparse.Action, ...]:
    return tuple(
        action
        for action in parser._actions
        if action.option_strings and action.help != argparse.SUPPRESS
    )


def _choices(action: argparse.Action) -> str:
    return " ".join(map(str, action.choices or ()))


def _positional(parser: argparse.ArgumentParser) -> tuple[str, ...]:
    return tuple(
        str(choice)
        for action in parser._actions
        if not action.option_strings
        for choice in action.choices or ()
    )


def _plain(help: str | None) -> str:
    """Return a help text without what a shell could take for its own."""
    apostrophe = "\N{RIGHT SINGLE QUOTATION MARK}"
    kept = (apostrophe if c == "'" else c for c in help or "")
    return "".join(c for c in kept if c.isalnum() or c in f" ,.;()-{apostrophe}").strip()


def _bash(commands: tuple[CommandWords, ...]) -> str:
    program, *others = commands
    cases = "\n".join(f"    {command.name}) {_bash_case(command)} ;;" for command in others)
    names = " ".join((*(command.name for command in others), *_names(program)))
    return f"""\
# bash completion for bpvet
_bpvet() {{
  local word="${{COMP_WORDS[COMP_CWORD]}}" before="${{COMP_WORDS[COMP_CWORD-1]}}"
  local choices="" options="" files=""
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "{names}" -- "$word"))
    return
  fi
  case "${{COMP_WORDS[1]}}" in
{cases}
    *) return ;;
  esac
  if [ -n "$choices" ]; then
    COMPREPLY=($(compgen -W "$choices" -- "$word"))
  elif [ "$files" = none ]; then
    return
  elif [ -z "$files" ] && [ "${{word#-}}" != "$word" ]; then
    COMPREPLY=($(compgen -W "$options" -- "$word"))
  else
    compopt -o filenames 2>/dev/null
    local IFS=$'\\n'
    COMPREPLY=($(compgen -f -- "$word"))
  fi
}}
complete -F _bpvet bpvet
"""


def _bash_case(command: CommandWords) -> str:
    lines = [f'options="{" ".join(_names(command))}"']
    lines += [f'choices="{" ".join(command.choices)}"'] if command.choices else []
    branches = []
    for option in command.options:
        if option.nargs != 0:
            what = 'choices=""; '
            what += f'choices="{_choices(option)}"' if option.choices else "files=none"
            what = 'choices=""; files=yes' if option.metavar in _FILES else what
            branches.append(f"{'|'.join(option.option_strings)}) {what} ;;")
    dash = 'case "$word" in -*) choices="" ;; esac;' if command.choices else ""
    return f'{"; ".join(lines)}; {dash} case "$before" in {" ".join(branches)} esac'


def _names(command: CommandWords) -> list[str]:
    return [name for option in command.options for name in option.option_strings]


def _zsh(commands: tuple[CommandWords, ...]) -> str:
    program, *others = commands
    listed = " ".join(f"'{command.name}:{_plain(command.help)}'" for command in others)
    cases = "\n".join(
        f"    {command.name}) _arguments {' '.join(_zsh_words(command))} ;;" for command in others
    )
    first = " ".join(_names(program))
    return f"""\
#compdef bpvet
_bpvet() {{
  local -a commands
  commands=({listed})
  if (( CURRENT == 2 )); then
    _describe command commands
    compadd -- {first}
    return
  fi
  local name="$words[2]"
  shift words
  (( CURRENT-- ))
  case "$name" in
{cases}
  esac
}}
if [ "$funcstack[1]" = _bpvet ]; then _bpvet "$@"; else compdef _bpvet bpvet; fi
"""


def _zsh_words(command: CommandWords) -> list[str]:
    found = []
    for option in command.options:
        value = ""
        if option.nargs != 0:
            what = f"({_choices(option)})" if option.choices else " "
            value = f":value:{'_files' if option.metavar in _FILES else what}"
        found += [f"'{name}[{_plain(option.help)}]{value}'" for name in option.option_strings]
    rest = f"({' '.join(command.choices)})" if command.choices else "_files"
    return [*found, f"'*:argument:{rest}'"]


def _fish(commands: tuple[CommandWords, ...]) -> str:
    program, *others = commands
    first = "complete -c bpvet -n __fish_use_subcommand"
    lines = ["# fish completion for bpvet"]
    lines += [f"{first} {_fish_option(option)}" for option in program.options]
    for command in others:
        lines.append(f"{first} -f -a {command.name} -d '{_plain(command.help)}'")
        within = f"complete -c bpvet -n '__fish_seen_subcommand_from {command.name}'"
        lines += [f"{within} {_fish_option(option)}" for option in command.options]
        if command.choices:
            lines.append(f"{within} -f -a '{' '.join(command.choices)}'")
    return "\n".join(lines) + "\n"


def _fish_option(option: argparse.Action) -> str:
    parts = [
        f"-l {name[2:]}" if name.startswith("--") else f"-s {name[1:]}"
        for name in option.option_strings
    ]
    if option.nargs != 0 and option.metavar in _FILES:
        parts.append("-r -F")
    elif option.nargs != 0:
        parts.append(f"-x -a '{_choices(option)}'" if option.choices else "-x")
    return " ".join([*parts, f"-d '{_plain(option.help)}'"])


_WRITERS = {"bash": _bash, "zsh": _zsh, "fish": _fish}
