"""An audit that the system ends, for worker processes: apart, so that they start fast."""

import os
import signal
from pathlib import Path

from audit.portfolio.one_site import Result, Task


def dies(task: Task) -> Result:
    """Stands in for an audit that fills the memory: always, or the first time only."""
    before = Path(task.folder) / task.name
    if task.name == "always" or (task.name == "once" and not before.exists()):
        before.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return Result(site=task.name, title=task.name, state="audited")
