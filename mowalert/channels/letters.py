"""Letters worded: confirmations, links to one's own pages, and answers to short messages."""

from html import escape

from mowalert.channels.answers import answer_text
from mowalert.channels.gsm import PLAIN, plain
from mowalert.domain.words import Channel
from mowalert.languages import translations
from mowalert.service.records import KeeperRecord
from mowalert.service.telling.answers import Answer
from mowalert.service.telling.letters import Letter

PARAGRAPH = '<p style="margin:0 0 14px">{}</p>'
BUTTON = (
    '<p style="margin:0 0 14px"><a href="{url}" style="display:inline-block;padding:12px 18px;'
    'background:#2f4a6d;color:#ffffff;text-decoration:none;border-radius:4px">{text}</a></p>'
)
PAGE = """<!doctype html>
<html lang="{language}">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title></head>
<body style="margin:0;padding:0;background:#f7f4ec;color:#26241f">
<div style="max-width:560px;margin:0 auto;padding:22px 18px 30px;font-family:Georgia,'Times New Roman',serif;\
font-size:17px;line-height:1.5">
<h1 style="margin:0 0 16px;font-size:24px;line-height:1.25;color:#2f4a6d">{title}</h1>
{body}
</div>
</body>
</html>
"""


class ServiceLetters:
    """Words letters in a service's name.

    Parameters
    ----------
    service_name : str
        Who they are from.
    host : str
        The name Message-IDs end in.
    contact : str
        Address people can write to; empty for none.
    """

    def __init__(self, service_name: str, host: str, contact: str = "") -> None:
        self._name, self._host, self._contact = service_name, host, contact

    @property
    def host(self) -> str:
        """The name Message-IDs end in."""
        return self._host

    def confirm(self, keeper: KeeperRecord, url: str) -> Letter:
        """Ask an address whether it wants to hear from us."""
        say = translations(keeper.language).gettext
        if not keeper.email:
            return self.confirm_phone(keeper)
        return self._mail(
            keeper,
            title=say("Do you want notices from {name}?").format(name=self._name),
            before=[
                say(
                    "Somebody, most likely you, asked us to tell this address when a lawn is due for mowing."
                    " Nothing is sent until you confirm."
                )
            ],
            button=(say("Confirm"), url),
            after=[
                say(
                    "If it was not you, do nothing: you will not hear from us again, and what was typed is"
                    " forgotten in a week."
                )
            ],
        )

    def confirm_phone(self, keeper: KeeperRecord) -> Letter:
        """Ask a phone the same; the answer is YES."""
        say = translations(keeper.language).gettext
        said = say(
            "{name}: reply YES for mowing notices by text, at most a few a month. Reply STOP for none."
        )
        return self.reply(said.format(name=self._name[:20]))

    def page_link(self, keeper: KeeperRecord, url: str) -> Letter:
        """Send the link to a keeper's own pages."""
        say = translations(keeper.language).gettext
        return self._mail(
            keeper,
            title=say("Your lawn's page"),
            before=[say("Here is the link you asked for. Whoever has it can see and change your lawns.")],
            button=(say("Open your page"), url),
            after=[say("If you did not ask for it, you need do nothing.")],
        )

    def reply(self, text: str) -> Letter:
        """Answer a short message."""
        return Letter(Channel.SMS, "", plain(text))

    def answer(self, keeper: KeeperRecord, answer: Answer) -> Letter:
        """Say what became of a keeper's text, in one part."""
        return self.reply(answer_text(answer, keeper, service_name=self._name, contact=self._contact))

    def _mail(
        self,
        keeper: KeeperRecord,
        *,
        title: str,
        before: list[str],
        button: tuple[str, str],
        after: list[str],
    ) -> Letter:
        words, url = button
        after = [*after, ", ".join(part for part in (self._name, self._contact) if part)]
        text = "\n\n".join([title, *before, f"{words}: {url}", *after]) + "\n"
        body = [PARAGRAPH.format(escape(line)) for line in before]
        body.append(BUTTON.format(url=escape(url), text=escape(words)))
        body += [PARAGRAPH.format(escape(line)) for line in after]
        html = PAGE.format(language=keeper.language, title=escape(title), body="\n".join(body))
        return Letter(Channel.EMAIL, title.translate(PLAIN)[:60], text, html)
