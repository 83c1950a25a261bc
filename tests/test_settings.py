"""Settings: every mistake at once, each with its place; secrets never shown."""

import re
import tomllib
from pathlib import Path

import pytest

from mowalert.errors import ConfigError
from mowalert.settings import Settings, config_file, load_settings


def settings_of(tmp_path: Path, text: str, **environ: str) -> Settings:
    path = tmp_path / "mowalert.toml"
    path.write_text(text)
    return load_settings(path, environ=environ)


def problems_of(tmp_path: Path, text: str, **environ: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        settings_of(tmp_path, text, **environ)
    return str(caught.value).splitlines()


def test_it_runs_with_no_file_at_all() -> None:
    settings = load_settings(None, environ={})
    assert settings.store_url == "sqlite:///var/mowalert.db"
    assert settings.email.transport == "file"
    assert settings.sms.transport == "off"


def test_the_commented_file_says_what_happens_without_it() -> None:
    assert load_settings(config_file("mowalert.toml"), environ={}) == load_settings(None, environ={})


def test_every_key_is_in_the_commented_file() -> None:
    text = config_file("mowalert.toml").read_text()
    table = tomllib.loads(re.sub(r"^# (?=\w+ = )", "", text, flags=re.MULTILINE))
    for section, model in Settings.model_fields.items():
        for key, entry in model.annotation.model_fields.items():  # type: ignore[union-attr]
            assert key in table[section], f"{section}.{key}"
            inner = getattr(entry.annotation, "model_fields", {})
            assert set(inner) == set(table[section][key]) if inner else True


def test_a_page_waits_less_for_weather_than_a_night() -> None:
    settings = load_settings(None, environ={})
    assert (settings.weather.longest_wait_s, settings.hurried().weather.longest_wait_s) == (120, 5)
    assert settings.hurried().email == settings.email


def test_all_mistakes_are_told_at_once_with_file_key_found_and_allowed(tmp_path: Path) -> None:
    problems = problems_of(
        tmp_path,
        """
        [email]
        transprot = "smtp"
        port = "many"
        [weather]
        sources = ["open_meteo", "crystal_ball"]
        [sms]
        method = "PIGEON"
        [mowing]
        x = 1
        """,
    )
    file = str(tmp_path / "mowalert.toml")
    assert len(problems) == 5
    assert all(problem.startswith(f"{file}: ") for problem in problems)
    text = "\n".join(problems)
    assert "email.transprot: unknown key; did you mean transport?" in text
    assert "email.port: found 'many'" in text
    assert "crystal_ball" in text
    assert "'POST', 'POST-JSON' or 'GET'" in text
    assert "mowing: unknown key; allowed are service, store, weather, email, sms, jobs" in text


def test_the_environment_comes_last(tmp_path: Path) -> None:
    settings = settings_of(
        tmp_path,
        '[email]\nhost = "a.example.org"\nport = 25\n',
        MOWALERT_EMAIL__HOST="b.example.org",
        MOWALERT_WEATHER__OPEN_METEO__URL="http://127.0.0.1:9/",
        MOWALERT_EMAIL__PORT="2525",
    )
    assert (settings.email.host, settings.email.port) == ("b.example.org", 2525)
    assert settings.weather.open_meteo.url == "http://127.0.0.1:9/"


def test_a_list_and_a_table_can_come_from_the_environment(tmp_path: Path) -> None:
    settings = settings_of(
        tmp_path,
        "",
        MOWALERT_WEATHER__SOURCES='["met_norway"]',
        MOWALERT_SMS__FIELDS='{"dest": "{to}", "body": "{text}"}',
    )
    assert settings.weather.sources == ("met_norway",)
    plain = settings_of(tmp_path, "", MOWALERT_WEATHER__SOURCES="nws, open_meteo")
    assert plain.weather.sources == ("nws", "open_meteo")
    assert settings.sms.fields == {"dest": "{to}", "body": "{text}"}


def test_a_mistake_in_the_environment_names_its_variable(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, "", MOWALERT_EMAIL__PORT="many")
    assert problem.startswith("environment variable MOWALERT_EMAIL__PORT: email.port: found 'many'")


def test_a_secret_can_come_from_a_file_and_is_never_shown(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("hush\n")
    settings = settings_of(tmp_path, "", MOWALERT_EMAIL__PASSWORD_FILE=str(secret))
    assert settings.email.password.get_secret_value() == "hush"
    assert "hush" not in repr(settings) + str(settings)


def test_a_secret_in_a_mistake_is_not_shown(tmp_path: Path) -> None:
    problems = problems_of(tmp_path, "[email]\npassword = 12345\n[sms]\nurl = 77\n")
    assert len(problems) == 2
    assert "12345" not in "".join(problems)
    assert "a value that is not shown" in problems[0]


def test_a_secret_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, "", MOWALERT_EMAIL__PASSWORD_FILE="/nowhere/it")  # noqa: S106
    assert "MOWALERT_EMAIL__PASSWORD_FILE" in problem
    assert "No such file" in problem


@pytest.mark.parametrize("text", ["[email", "email = 3", '[service]\nbase_url = "mow.example.org"'])
def test_what_is_no_settings_file_is_a_clear_error(tmp_path: Path, text: str) -> None:
    (problem,) = problems_of(tmp_path, text)
    assert str(tmp_path) in problem


def test_a_file_that_is_not_there_is_named() -> None:
    with pytest.raises(ConfigError, match=r"/nowhere/mowalert\.toml"):
        load_settings(Path("/nowhere/mowalert.toml"), environ={})
