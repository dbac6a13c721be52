# Writes OUT: the bytes of FILE as what FUNCTION (declared in HEADER, in NAMESPACE) returns.
file(READ "${FILE}" hex HEX)
string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
file(WRITE "${OUT}" "#include \"${HEADER}\"\n\nnamespace {\nconst unsigned char embedded_bytes[] = {${bytes}0};\n}\n\nnamespace ${NAMESPACE} {\nstd::string_view ${FUNCTION}() { return {reinterpret_cast<const char*>(embedded_bytes), sizeof(embedded_bytes) - 1}; }\n}\n")
