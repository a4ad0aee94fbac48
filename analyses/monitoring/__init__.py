"""Quality monitoring of one service: is it getting better or worse? Its procedures, practice
limits, data quality, and the charts drawn of them.
"""
