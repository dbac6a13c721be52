# Writes OUT: the bytes of FILE as what FUNCTION (declared in HEADER, in namespace tallystick::serve) returns.
file(READ "${FILE}" hex HEX)
string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
file(WRITE "${OUT}" "#include \"${HEADER}\"\n\nnamespace {\nconst unsigned char text[] = {${bytes}0};\n}\n\nnamespace tallystick::serve {\nstd::string_view ${FUNCTION}() { return {reinterpret_cast<const char*>(text), sizeof(text) - 1}; }\n}\n")
