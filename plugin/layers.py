class ResultLoader:
    pass
