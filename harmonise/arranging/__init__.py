"""The job: a tune arranged as asked, explained, alone or with a whole book of tunes."""
