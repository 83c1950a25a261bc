"""One tree of errors; only the edge turns them into exit codes."""


class MowalertError(Exception):
    """Anything the program can explain to a person in one line."""


class ConfigError(MowalertError):
    """A setting that cannot be used; the text names file, key, what was found and what is allowed."""


class InputError(MowalertError):
    """A person's mistake, told in their words.

    Parameters
    ----------
    message : str
        What is wrong; with words in braces where values are named.
    **values : object
        What stands in for them: a message with its values apart can be said in another language.
    """

    def __init__(self, message: str, **values: object) -> None:
        super().__init__(message.format(**values) if values else message)
        self.message, self.values = message, values


class Millimetres(float):
    """A height named in a mistake: said in its reader's units where these are known."""

    def __str__(self) -> str:
        """Return it as it is said where they are not."""
        return f"{float(self):g} mm"


class SourceError(MowalertError):
    """A weather source that did not give usable weather.

    Parameters
    ----------
    message : str
        What happened, fit for a log.
    permanent : bool
        Whether asking again soon is pointless.
    source : str
        The source's name.
    """

    def __init__(self, message: str, *, permanent: bool, source: str) -> None:
        super().__init__(message)
        self.permanent = permanent
        self.source = source


class DeliveryError(MowalertError):
    """A message that did not go out.

    Parameters
    ----------
    message : str
        What happened, fit for a log: no address in it.
    permanent : bool
        Whether the same message to the same address can never succeed.
    channel : str
        ``email`` or ``sms``.
    code : str
        The other side's code for this address, or an empty text.
    fate_known : bool
        ``False`` when the message may have gone out all the same.
    """

    def __init__(
        self, message: str, *, permanent: bool, channel: str, code: str = "", fate_known: bool = True
    ) -> None:
        super().__init__(message)
        self.permanent = permanent
        self.channel = channel
        self.code = code
        self.fate_known = fate_known


class StoreError(MowalertError):
    """The store could not be read or written."""


class BrokerError(MowalertError):
    """Work could not be given to the workers."""
