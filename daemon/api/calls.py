"""One question to the daemon over HTTP: a model in, a model out, every failure an ApiError."""

from types import TracebackType
from typing import Any, Self, TypeVar

import httpx
from pydantic import BaseModel

from daemon.api.errors import ApiError, DaemonSilent
from daemon.api.models import Said

M = TypeVar("M", bound=BaseModel)


class Caller:
    """Talks to one daemon; may be shared between threads. ``timeout_s`` bounds every call."""

    def __init__(self, url: str, timeout_s: float = 3.0) -> None:
        self.url = url.rstrip("/")
        # trust_env: a proxy of the environment must never stand between a person and the unkey button
        self._http = httpx.Client(base_url=self.url, timeout=timeout_s, trust_env=False)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the connections go."""
        self._http.close()

    def _get(self, path: str, model: type[M], params: dict[str, Any] | None = None) -> M:
        return model.model_validate_json(self._call("GET", path, params=params).content)

    def _post(self, path: str, body: BaseModel | None = None) -> Said:
        content = None if body is None else body.model_dump_json()
        return Said.model_validate_json(self._call("POST", path, content=content).content)

    def _call(self, method: str, path: str, **words: Any) -> httpx.Response:
        headers = {"content-type": "application/json"}
        try:
            answer = self._http.request(method, path, headers=headers, **words)
        except httpx.HTTPError as err:
            raise DaemonSilent(self.url, str(err) or type(err).__name__) from err
        if answer.is_error:
            raise ApiError(why(answer), answer.status_code)
        return answer


def why(answer: httpx.Response) -> str:
    """What the daemon says is wrong."""
    try:
        return str(answer.json()["detail"])
    except (ValueError, KeyError, TypeError):
        return f"the daemon answered {answer.status_code} {answer.reason_phrase}"
