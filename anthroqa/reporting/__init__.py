"""Pages, tables and figures for people; computes nothing that is in no table.

What a person runs stands at the top of the package: `anthroqa.report` and the like.
"""

__all__: list[str] = []
