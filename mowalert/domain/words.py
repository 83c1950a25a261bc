"""The words of the trade that the whole program shares."""

from enum import StrEnum


class KeeperKind(StrEnum):
    """Who looks after the turf."""

    HOMEOWNER = "homeowner"
    COMPANY = "company"
    PARKS = "parks"


class Units(StrEnum):
    """The units a keeper reads."""

    US = "us"
    METRIC = "metric"


class Watering(StrEnum):
    """Whether the turf is watered when it needs it."""

    NONE = "none"
    REGULAR = "regular"


class Sun(StrEnum):
    """How much of the day's light reaches the turf."""

    FULL = "full"
    PART = "part"
    SHADE = "shade"


class Season(StrEnum):
    """Cool-season or warm-season grass."""

    COOL = "cool"
    WARM = "warm"


class Silence(StrEnum):
    """What no report after an advised day is taken for."""

    CUT = "cut"
    UNCUT = "uncut"


class Clippings(StrEnum):
    """What to do with what the mower cuts off."""

    LEAVE = "leave"
    COLLECT = "collect"
    CUT_TWICE = "cut_twice"


class HoldReason(StrEnum):
    """Why the turf, or a rule, says not to mow now. The most serious first."""

    DORMANT = "dormant"
    DROUGHT = "drought"
    HEAT = "heat"
    COLD = "cold"
    WATERLOGGED = "waterlogged"
    FROST = "frost"
    WET_LEAF = "wet_leaf"
    TREATMENT = "treatment"
    EVENT = "event"
    NESTING = "nesting"
    NOISE = "noise"


class NoticeKind(StrEnum):
    """What one notice says about one lawn."""

    MOW = "mow"
    MAY_MOW = "may_mow"
    OVERGROWN = "overgrown"
    HOLD = "hold"
    RELEASE = "release"
    NO_WEATHER = "no_weather"
    NOTHING_DUE = "nothing_due"


class DigestKind(StrEnum):
    """What one message for one person is."""

    WEEKEND = "weekend"
    MORNING_LIST = "morning_list"
    PARKS_HOLDS = "parks_holds"
    CLASS_HOLDS = "class_holds"
    NO_WEATHER = "no_weather"


class Channel(StrEnum):
    """How a message travels."""

    EMAIL = "email"
    SMS = "sms"
