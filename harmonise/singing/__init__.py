"""A key that people can sing in: groups of singers and the keys that suit a tune."""
