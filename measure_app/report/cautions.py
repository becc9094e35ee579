"""What to mind when water, glass and electricity share a bench; said wherever an experiment is told."""

CAUTIONS = (
    "Keep water away from mains leads, lamps and chargers; use a supply with residual-current protection.",
    "Wipe spills at once: a wet floor is slippery. Stand the container where it cannot be knocked over.",
    "An adult or a technician makes holes, with the container empty and clamped; wear eye protection.",
    "Ask for consent before anybody is filmed, and frame the picture so that no face is in it.",
    "The rules of your school, and what its qualified staff say, come before anything written here.",
)
