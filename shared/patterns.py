def patterns_context():
    return {}
