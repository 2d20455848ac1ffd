"""How hypothesis runs here: the same examples each time, however busy the machine."""

from hypothesis import HealthCheck, settings
from makers.profiles import PROFILE, examples

for name in ("dev", "ci", "night"):
    settings.register_profile(
        name,
        deadline=None,
        derandomize=True,
        max_examples=examples(100),
        suppress_health_check=[HealthCheck.too_slow],
    )
settings.load_profile(PROFILE)
