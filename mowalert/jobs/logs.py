"""Logs as JSON, a line an event, on stderr: ours and the libraries' alike, each with its run."""

import logging
import sys

import structlog


class _Stderr(logging.Handler):
    """Writes to whatever stderr is at the moment."""

    def emit(self, record: logging.LogRecord) -> None:
        """Write one line."""
        try:
            print(self.format(record), file=sys.stderr, flush=True)  # noqa: T201 - that is its purpose
        except Exception:
            self.handleError(record)


def log_to_stderr(*, least: int = logging.INFO) -> None:
    """Send every line to stderr.

    Parameters
    ----------
    least : int
        Level from which our own lines are shown; libraries' are from a warning on.
    """
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.add_log_level,
    ]
    as_json = structlog.processors.JSONRenderer()
    structlog.configure(
        processors=[*shared, structlog.processors.format_exc_info, as_json],
        wrapper_class=structlog.make_filtering_bound_logger(least),
        logger_factory=lambda *_: structlog.PrintLogger(sys.stderr),
    )
    handler = _Stderr()
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=[*shared, structlog.stdlib.add_logger_name, structlog.stdlib.ExtraAdder()],
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.format_exc_info,
                as_json,
            ],
        )
    )
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
