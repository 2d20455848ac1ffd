"""Four-part hymn style: soprano, alto, tenor and bass in one optimum."""
