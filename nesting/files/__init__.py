"""Our own documents: job, order, shop and plate files, layouts; read strictly, written whole."""
