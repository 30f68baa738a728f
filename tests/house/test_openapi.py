"""The API's description is complete enough to make a client from."""

from collections import Counter

from tests.house.sample_requests import operations

NO_BODY = {"204", "304"}
FILES = ("text/csv", "application/octet-stream", "image/svg+xml", "application/vnd.apache.parquet")


def test_every_operation_has_a_name_of_its_own(app):
    names = Counter(one.told["operationId"] for one in operations(app.openapi()))
    assert [name for name, count in names.items() if count > 1] == []
    assert len(names) >= 30


def test_every_operation_says_what_it_is_for(app):
    for one in operations(app.openapi()):
        assert len(one.told.get("description", "").split()) >= 3, f"{one.name} is not explained"
        assert one.told.get("tags"), f"{one.name} belongs to no noun"


def test_every_answer_has_a_shape(app):
    for one in operations(app.openapi()):
        for status, answer in one.told["responses"].items():
            where = f"{one.name} {status}"
            if status in NO_BODY:
                assert "content" not in answer, where
                continue
            assert answer.get("content"), f"{where} tells no shape"
            for kind, content in answer["content"].items():
                assert kind in FILES or content.get("schema"), f"{where} {kind} tells no shape"


def test_every_refusal_is_a_problem_document(app):
    for one in operations(app.openapi()):
        refusals = {status: told for status, told in one.told["responses"].items() if status[0] in "45"}
        assert refusals, f"{one.name} tells of no refusal"
        for status, told in refusals.items():
            assert list(told["content"]) == ["application/problem+json"], f"{one.name} {status}"
            shape = told["content"]["application/problem+json"]["schema"]
            assert shape.get("$ref", "").endswith("/Problem"), f"{one.name} {status}"


def test_every_reference_leads_somewhere(app):
    description = app.openapi()
    known = {f"#/components/schemas/{name}" for name in description["components"]["schemas"]}

    def references(value):
        if isinstance(value, dict):
            for key, inner in value.items():
                if key == "$ref":
                    yield inner
                else:
                    yield from references(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from references(inner)

    assert set(references(description)) - known == set()


def test_no_body_takes_fields_it_does_not_know(app):
    for one in operations(app.openapi()):
        if one.body_shape is None:
            continue
        name = one.body_shape["$ref"].rpartition("/")[2]
        assert one.components[name].get("additionalProperties") is False, f"{one.name}: {name} takes any field"
