"""Operations that are not defined: machines looked at together are told what each is told alone."""

from pathlib import Path

from meltwright.meaning.checking import check_file
from meltwright.network.lowering import lower_all
from meltwright.solving.definedness import undefined, undefined_all
from meltwright.solving.problem import Problem
from meltwright.solving.tape import tape_of
from meltwright.text.source import Span

TEXT = """
quantity u of machine : number in -100 .. 100 "u"
quantity w of machine : number in -100 .. 100 "w"
setting x : number in 1 .. 9 step 1 "x"
material stuff {
}
machine sound {
  u 3 .. 4
  w 1
}
machine zero from sound {
  w -1 .. 1
}
machine root from sound {
  u 0 .. 4
}
machine both from sound {
  u 0 .. 1
  w 3
}
profile p {
  material stuff
  machines sound, zero, root, both
}
law a {
  about "a"
  source textbook "t"
  let margin = u - w
  require sqrt(margin) * x <= 20
  require x / w <= 9 + log(u + 2 - w)
  require 1 / (x - 5 + u) <= 1e9
}
"""


def test_together_as_alone(tmp_path: Path) -> None:
    path = tmp_path / "case.melt"
    path.write_text(TEXT, encoding="utf-8")
    model, found, _ = check_file(path)
    assert model is not None, found
    asked = [(model.profiles["p"], m.text) for m in model.profiles["p"].machines]
    networks = [n for n in lower_all(model, asked, []) if n is not None]
    tape = tape_of(networks)
    problems = [Problem(n, tape) for n in networks]

    def excerpt(span: Span) -> str:
        return TEXT[span.start : span.end]

    together = undefined_all(problems, excerpt)
    assert together == [undefined(problem, excerpt) for problem in problems]
    assert together == undefined_all([Problem(n) for n in networks], excerpt)
    assert [[d.code for d in one] for one in together] == [[], ["M501"], ["M502"], ["M502", "M502"]]
    # Places come from the laws, names of inputs and machines from each problem itself.
    assert [d.message for one in together for d in one] == [
        "this divides by w, which may be zero: -1 .. 1 on zero",
        "sqrt(margin) is not defined for -1 .. 3 on root",
        "sqrt(margin) is not defined for -3 .. -2 on both",
        "log(u + 2 - w) is not defined for -1 .. 0 on both",
    ]
    narrow = "narrow the range of u, or let the law apply only where it is defined (when)"
    assert [d.help for one in together[2:] for d in one] == [narrow] * 3
