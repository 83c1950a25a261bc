"""Addresses people are written to at, read as they are typed."""

import phonenumbers
from email_validator import validate_email


def email_in(text: str) -> str:
    """Return an e-mail address as it is kept; ValueError, saying why, if the text is none."""
    return validate_email(text, check_deliverability=False, test_environment=True).normalized


def phone_in(text: str, country: str | None) -> str | None:
    """Return a phone number as it is kept.

    Parameters
    ----------
    text : str
        What was typed.
    country : str | None
        Country of a number that names none (ISO 3166-1, two letters).

    Returns
    -------
    str | None
        The number in international form (E.164); none if the text is no number that can be.
    """
    try:
        number = phonenumbers.parse(text, country)
    except phonenumbers.NumberParseException:
        return None
    if not phonenumbers.is_possible_number(number):
        return None
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
