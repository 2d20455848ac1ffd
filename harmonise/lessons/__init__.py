"""Drills and worksheets: what pupils practise and write."""
